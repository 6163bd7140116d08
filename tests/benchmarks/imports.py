"""How long a sheet takes from file to committed records, beside inserting the same records alone.

Run with `python -m tests.benchmarks.imports [--profile]`. The file is nv_amd_12_years.csv of the fixtures
(60,000 visits; source beside it) with its map, and its first tenth. It is kept, checked and written as the
page and the worker do it: the eyes are planned and every record knows its row. The floor is `bulk_create` of
the records that came of it, and nothing else, into an empty database of the same kind in the same run. Times
are processor times. Each size runs in a process of its own, whose greatest memory is told. Leaves with 1 if a
ratio is over its limit.
"""

from __future__ import annotations

import cProfile
import json
import os
import pstats
import resource
import subprocess
import sys
import time as clock
from datetime import UTC, date, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

SHEETS = Path(__file__).parents[2] / "fixtures" / "sheets" / "real"
NAME = "nv_amd_12_years"
TENTH, ALL = 6_000, 0
FLOOR_LIMIT, GROWTH_LIMIT = 6.0, 1.2
"""Times the floor; and how much dearer a row may be in the whole file than in its first tenth."""
NOW, TODAY = datetime(2024, 5, 1, 9, tzinfo=UTC), date(2024, 5, 1)


def set_up(folder: str) -> None:
    """Two databases of their own, one to import into and one for the floor."""
    os.environ.update(
        DJANGO_SETTINGS_MODULE="config.settings",
        DATABASE_URL=f"sqlite:///{folder}/imported.sqlite3",
        FOLLOWUP_DATA_DIR=folder,
    )
    import django
    from django.conf import settings

    settings.DATABASES["floor"] = settings.DATABASES["default"] | {"NAME": f"{folder}/floor.sqlite3"}
    django.setup()
    from django.core.management import call_command

    for database in settings.DATABASES:
        call_command("migrate", database=database, verbosity=0)
    from followup.services.pathway import load_pathways

    load_pathways(folder=SHEETS.parents[1] / "pathways")


def import_file(content: bytes) -> int:
    """From the bytes to the last committed part; the number of rows read."""
    from followup.interchange.sheets.apply import check_import, take_sheet
    from followup.interchange.sheets.column_map import accepted_map
    from followup.interchange.sheets.parts import write_in_parts
    from followup.models import Site
    from followup.services.import_jobs import claim_import, queue_import

    column_map = accepted_map(json.loads((SHEETS / f"{NAME}.json").read_text()))
    batch = take_sheet(by=None, now=NOW, site=Site.objects.get(), file_name="visits.csv", content=content)
    check_import(today=TODAY, batch=batch, column_map=column_map)
    queue_import(by=None, now=NOW, batch=batch)
    claimed = claim_import(now=NOW)
    assert claimed is not None
    write_in_parts(batch=claimed, clock=lambda: NOW, today=TODAY)
    claimed.refresh_from_db()
    assert claimed.state == "applied", claimed.problem
    return int(claimed.counts["read"])


def records() -> list[list[Any]]:
    """What came of it, kind by kind, owners first."""
    from followup.models import AcuityReading, Exam, Eye, Operation, OperationProcedure, Patient, Site, Visit

    kinds = (Site, Patient, Eye, Operation, OperationProcedure, Visit, Exam, AcuityReading)
    found = [list(kind._default_manager.all()) for kind in kinds]
    for rows in found:
        for row in rows:
            if hasattr(row, "source_row_id"):
                row.source_row_id = None
    return found


def insert(found: list[list[Any]]) -> None:
    """The floor, in one transaction."""
    from django.db import transaction

    with transaction.atomic(using="floor"):
        for rows in found:
            type(rows[0])._default_manager.using("floor").bulk_create(rows, batch_size=2000)


def measure(rows: int, profile: bool) -> None:
    """One size in this process; prints what was measured as JSON."""
    with TemporaryDirectory() as folder:
        set_up(folder)
        from followup.models import Site

        Site.objects.create(name="Clinic")
        lines = (SHEETS / f"{NAME}.csv").read_bytes().splitlines(keepends=True)
        content = b"".join(lines[: rows + 1] if rows else lines)
        profiler = cProfile.Profile()
        started = clock.process_time()
        read = profiler.runcall(import_file, content) if profile else import_file(content)
        imported = clock.process_time() - started
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        found = records()
        started = clock.process_time()
        insert(found)
        floor = clock.process_time() - started
        if profile:
            pstats.Stats(profiler, stream=sys.stderr).sort_stats("tottime").print_stats(35)
            pstats.Stats(profiler, stream=sys.stderr).sort_stats("cumtime").print_stats(60)
        told = {"rows": read, "imported": imported, "floor": floor, "records": sum(map(len, found))}
        print(json.dumps(told | {"megabytes": memory // 1024}))


def main() -> int:
    profile = "--profile" in sys.argv
    command = [sys.executable, "-m", "tests.benchmarks.imports", *(["--profile"] if profile else [])]
    sizes = (TENTH,) if profile else (TENTH, ALL)
    told = []
    for size in sizes:
        run = subprocess.run([*command, "--rows", str(size)], check=True, stdout=subprocess.PIPE, text=True)
        one = json.loads(run.stdout.splitlines()[-1])
        told.append(one)
        print(
            f"{one['rows']:>7,} rows, {one['records']:>8,} records: import {one['imported']:6.1f} s, "
            f"inserting alone {one['floor']:5.1f} s, ratio {one['imported'] / one['floor']:5.1f} "
            f"(limit {FLOOR_LIMIT:g}), {one['megabytes']} MiB"
        )
    by_row = [one["imported"] / one["rows"] for one in told]
    growth = by_row[-1] / by_row[0]
    print(f"a row of the longer file costs {growth:.2f} times one of the shorter (limit {GROWTH_LIMIT:g})")
    over = told[-1]["imported"] > FLOOR_LIMIT * told[-1]["floor"] or growth > GROWTH_LIMIT
    return int(over)


if __name__ == "__main__":
    if "--rows" in sys.argv:
        measure(int(sys.argv[sys.argv.index("--rows") + 1]), "--profile" in sys.argv)
    else:
        sys.exit(main())
