"""Small sheets written in a test, and maps for them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from django.conf import settings

from followup.interchange.sheets.apply import import_at_once, preview
from followup.interchange.sheets.check import CheckedSheet
from followup.interchange.sheets.column_map import ColumnMap, accepted_map
from followup.models import Site
from tests.builders import NOW, TODAY

SHEETS = Path(settings.BASE_DIR) / "fixtures" / "sheets"

LOG = {
    "shape": "visits",
    "columns": [
        {"column": "no", "target": "record_number"},
        {"column": "born", "target": "birth_date", "date_order": "iso"},
        {"column": "eye", "target": "side"},
        {"column": "operated", "target": "operation_date", "date_order": "iso"},
        {"column": "done", "target": "procedures"},
        {"column": "in", "target": "tamponade_in"},
        {"column": "seen", "target": "visit_date", "date_order": "iso"},
        {"column": "va", "target": "acuity"},
        {"column": "iop", "target": "pressure"},
    ],
}
"""A log with a row a visit, every column of it."""


def log(*rows: str) -> bytes:
    """The bytes of such a log; a row is written as its cells with commas."""
    return "\n".join(["no,born,eye,operated,done,in,seen,va,iop", *rows]).encode()


def log_map(**changes: Any) -> ColumnMap:
    return accepted_map(LOG | changes)


def saved_map(name: str) -> ColumnMap:
    """The map kept beside a sheet of the fixtures."""
    return accepted_map(json.loads((SHEETS / f"{name}.json").read_text(encoding="utf-8")))


def look(site: Site, content: bytes, column_map: ColumnMap | None = None) -> CheckedSheet:
    return preview(site=site, today=TODAY, content=content, column_map=column_map or log_map())


def take_in(site: Site, content: bytes, column_map: ColumnMap | None = None) -> CheckedSheet:
    return import_at_once(
        by=None,
        now=NOW,
        today=TODAY,
        site=site,
        file_name="log.csv",
        content=content,
        column_map=column_map or log_map(),
    )


def outcomes(checked: CheckedSheet) -> list[str]:
    return [row.outcome for row in checked.rows]


def reasons(checked: CheckedSheet, number: int) -> list[str]:
    """Why the row of that number is not taken, or what is noted of it."""
    return [problem["reason"] for row in checked.rows if row.number == number for problem in row.problems]
