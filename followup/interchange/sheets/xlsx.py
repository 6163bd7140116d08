"""Rows written out as an XLSX workbook whose text stays text: no cell becomes a formula or a link."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from io import BytesIO
from tempfile import TemporaryDirectory
from typing import Any, BinaryIO

import xlsxwriter

Cell = str | int | float | Decimal
_OPTIONS = {"strings_to_formulas": False, "strings_to_urls": False, "constant_memory": True}


def workbook(rows: Iterable[Sequence[Cell]], title: str) -> bytes:
    """One sheet named `title` (at most 31 characters); the first row stays in view. Numbers stay numbers."""
    written = BytesIO()
    write_workbook(written, [(title, rows)])
    return written.getvalue()


def write_workbook(written: BinaryIO, sheets: Iterable[tuple[str, Iterable[Sequence[Cell]]]]) -> None:
    """Several sheets, each with its title; rows are taken one by one, as they come."""
    with (
        TemporaryDirectory() as folder,
        # In constant memory each row goes to a file as it comes, so rows are written once and in order.
        xlsxwriter.Workbook(written, {**_OPTIONS, "tmpdir": folder}) as book,
    ):
        for title, rows in sheets:
            sheet = book.add_worksheet(title)
            sheet.freeze_panes(1, 0)
            for place, row in enumerate(rows):
                _write_row(sheet, place, row)


def _write_row(sheet: Any, place: int, row: Sequence[Cell]) -> None:
    for column, cell in enumerate(row):
        if not isinstance(cell, str):
            sheet.write_number(place, column, float(cell))
        elif cell:
            sheet.write_string(place, column, cell)
