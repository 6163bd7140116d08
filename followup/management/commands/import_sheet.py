"""Takes in a sheet of operated eyes: says what each row would do and, when told to, writes it."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from followup.domain.dates.zones import local_day
from followup.domain.errors import FollowUpError
from followup.interchange.sheets.apply import import_at_once, preview
from followup.interchange.sheets.check import OUTCOMES, CheckedSheet
from followup.interchange.sheets.column_map import ColumnMap, accepted_map
from followup.interchange.sheets.read import refuse_size
from followup.management.commands._arguments import site_named, staff_named

SHOWN = 20


class Command(BaseCommand):
    help = "Check a CSV or XLSX file of operated eyes by a column map; write it with --confirm."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--site", required=True, help="Name of the site.")
        parser.add_argument("--map", required=True, type=Path, help="Column map, JSON.")
        parser.add_argument("--confirm", action="store_true", help="Write the rows that are accepted.")
        parser.add_argument("--by", default="", help="Sign-in name of whoever is responsible.")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            self._run(options)
        except FollowUpError as fault:
            raise CommandError(fault.message) from None

    def _run(self, options: dict[str, Any]) -> None:
        site, by = site_named(options["site"]), staff_named(options["by"])
        content, column_map = _content(options["file"]), _column_map(options["map"])
        now = timezone.now()
        today = local_day(now, site.time_zone)
        if options["confirm"]:
            checked = import_at_once(
                by=by,
                now=now,
                today=today,
                site=site,
                file_name=options["file"].name,
                content=content,
                column_map=column_map,
            )
        else:
            checked = preview(site=site, today=today, content=content, column_map=column_map)
        for note in checked.notes:
            self.stdout.write(note)
        self._write_problems(checked)
        self._write_counts(checked.counts, written=options["confirm"])

    def _write_problems(self, checked: CheckedSheet) -> None:
        rows = [row for row in checked.rows if row.outcome in ("human", "refused")]
        for row in rows[:SHOWN]:
            for problem in row.problems:
                where = f", {problem['column']}" if problem["column"] else ""
                value = f' "{problem["value"]}"' if problem["value"] else ""
                self.stdout.write(f"Row {row.number}{where}{value}: {problem['reason']}")
        more = len(rows) - SHOWN
        if more > 0:
            self.stdout.write(f"... and {more} more rows with problems.")

    def _write_counts(self, counts: dict[str, int], *, written: bool) -> None:
        by_outcome = ", ".join(f"{counts[outcome]} {outcome}" for outcome in OUTCOMES)
        made = ", ".join(
            f"{counts[name]} {name}"
            for name in ("patients", "eyes", "operations", "visits", "exams", "acuity readings")
        )
        self.stdout.write(f"{counts['read']} rows read: {by_outcome}.")
        self.stdout.write(f"{'Written' if written else 'Would be written'}: {made}.")
        if not written:
            self.stdout.write("Nothing was written. Add --confirm to write it.")


def _content(path: Path) -> bytes:
    """The whole file, of a size that is taken, unless somebody writes to it meanwhile."""
    try:
        before = path.stat()
        refuse_size(before.st_size, settings.SHEET_MAX_BYTES)
        content = path.read_bytes()
        after = path.stat()
    except OSError as fault:
        raise CommandError(f"{path} cannot be read: {fault.strerror}.") from None
    if (before.st_size, before.st_mtime_ns) != (after.st_size, after.st_mtime_ns) or len(
        content
    ) != after.st_size:
        raise CommandError(f"{path} changed while it was read. Wait until it is saved, and try again.")
    return content


def _column_map(path: Path) -> ColumnMap:
    try:
        return accepted_map(json.loads(_content(path)))
    except (ValueError, UnicodeDecodeError) as fault:
        raise CommandError(f"{path} is not JSON: {fault}.") from None
