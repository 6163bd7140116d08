"""Rows written out as an XLSX workbook whose text stays text: no cell becomes a formula or a link."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from io import BytesIO
from tempfile import TemporaryDirectory
from typing import Any, BinaryIO

import xlsxwriter

from followup.domain.errors import Refused

Cell = str | int | float | Decimal
MOST_ROWS, MOST_LETTERS = 1_048_576, 32_767
"""What one sheet and one cell of a workbook hold (ECMA-376 as spreadsheets implement it)."""
_OPTIONS = {"strings_to_formulas": False, "strings_to_urls": False, "constant_memory": True}


def workbook(rows: Iterable[Sequence[Cell]], title: str) -> bytes:
    """One sheet named `title` (at most 31 characters); the first row stays in view. Numbers stay numbers."""
    written = BytesIO()
    write_workbook(written, [(title, rows)])
    return written.getvalue()


def write_workbook(written: BinaryIO, sheets: Iterable[tuple[str, Iterable[Sequence[Cell]]]]) -> None:
    """Several sheets, each with its title; rows are taken one by one, as they come.

    Refused for more rows or longer text than a workbook holds: nothing is cut off unseen.
    """
    with (
        TemporaryDirectory() as folder,
        # In constant memory each row goes to a file as it comes, so rows are written once and in order.
        xlsxwriter.Workbook(written, {**_OPTIONS, "tmpdir": folder}) as book,
    ):
        for title, rows in sheets:
            sheet = book.add_worksheet(title)
            sheet.freeze_panes(1, 0)
            for place, row in enumerate(rows):
                if place == MOST_ROWS:
                    raise Refused(
                        f'"{title}" has more than {MOST_ROWS:,} rows, which no workbook holds. Choose CSV.'
                    )
                _write_row(sheet, place, row)


def _write_row(sheet: Any, place: int, row: Sequence[Cell]) -> None:
    for column, cell in enumerate(row):
        if not isinstance(cell, str):
            sheet.write_number(place, column, float(cell))
        elif len(cell) > MOST_LETTERS:
            raise Refused(
                f'Row {place + 1} of "{sheet.get_name()}" has a text of {len(cell):,} letters; a cell of a '
                f"workbook holds {MOST_LETTERS:,}. Choose CSV."
            )
        elif cell:
            sheet.write_string(place, column, cell)
