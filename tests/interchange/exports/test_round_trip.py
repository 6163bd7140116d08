"""What was taken out with names is taken in again, and gives the same records."""

from __future__ import annotations

import io
import json
import zipfile
from typing import Any

import pytest

from followup.interchange.exports.archive import FullExport, cell_of
from followup.interchange.sheets.apply import import_at_once
from followup.interchange.sheets.column_map import accepted_map
from followup.models import Site
from followup.queries.takeout.people import named
from followup.queries.takeout.rows import columns_of, rows_of
from followup.queries.takeout.tables import FILLS, MILESTONES, TABLES
from tests.builders import (
    NOW,
    TODAY,
    make_site,
)

pytestmark = pytest.mark.django_db

FORMULA_NOTE = '=HYPERLINK("http://x.example","y")'
IMPORTED = [table for table in TABLES if table.is_imported]


def files_of(site: Site) -> zipfile.ZipFile:
    written = io.BytesIO()
    FullExport(site, named(), about=["About"]).write_zip(written)
    return zipfile.ZipFile(written)


def workbook_of(site: Site) -> bytes:
    written = io.BytesIO()
    FullExport(site, named(), about=["About"]).write_xlsx(written)
    return written.getvalue()


def take_in(site: Site, files: zipfile.ZipFile, workbook: bytes = b"") -> dict[str, dict[str, int]]:
    """Every table that has a map, in the order of their numbers, of the workbook if given; counts of each."""
    counts = {}
    for path in sorted(name for name in files.namelist() if name.startswith("maps/")):
        name = path.removeprefix("maps/").removesuffix(".json")
        checked = import_at_once(
            by=None,
            now=NOW,
            today=TODAY,
            site=site,
            file_name=f"{name}.csv",
            content=workbook or files.read(f"{name}.csv"),
            column_map=accepted_map(json.loads(files.read(path))),
        )
        counts[name] = dict(checked.counts)
    return counts


def told(site: Site) -> dict[str, list[list[Any]]]:
    """Rows of all that is taken in again, and of what follows from it."""
    writer = named()
    found = {}
    for table in (*IMPORTED, FILLS, MILESTONES):
        keep = [place for place, column in enumerate(columns_of(table, writer)) if column.name != "examiner"]
        found[table.name] = [[cell_of(row[place]) for place in keep] for row in rows_of(table, site, writer)]
    return found


@pytest.mark.parametrize("kind", ["zip", "xlsx"])
def test_taken_in_at_an_empty_clinic_it_gives_the_same_records(harbour: Site, kind: str) -> None:
    elsewhere = make_site(name="Elsewhere")
    counts = take_in(elsewhere, files_of(harbour), workbook_of(harbour) if kind == "xlsx" else b"")
    assert all(count["human"] == count["refused"] == 0 for count in counts.values()), counts
    assert told(elsewhere) == told(harbour)


def test_taken_in_where_it_came_from_it_changes_nothing(harbour: Site) -> None:
    before = told(harbour)
    counts = take_in(harbour, files_of(harbour))
    assert all(count["new"] == count["changed"] == 0 for count in counts.values()), counts
    assert told(harbour) == before


def test_a_spreadsheet_runs_nothing_of_it(harbour: Site) -> None:
    files = files_of(harbour)
    operations, patients = (files.read(f"{name}.csv").decode() for name in ("03-operations", "01-patients"))
    assert "'=HYPERLINK" in operations
    assert ",'@Osric," in operations
    assert "'-ask for her son" in patients
    assert ",+447700900012," in patients
    acuity = files.read("06-acuity.csv").decode()
    assert ",6/9+1," in acuity
    assert ",-0.10," in acuity
    assert "stands behind an apostrophe" in files.read("dictionary.csv").decode()
