"""Rows written out as an XLSX workbook whose text stays text: no cell becomes a formula or a link."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory

import xlsxwriter

Cell = str | int | float | Decimal
_OPTIONS = {"strings_to_formulas": False, "strings_to_urls": False, "constant_memory": True}


def workbook(rows: Iterable[Sequence[Cell]], title: str) -> bytes:
    """One sheet named `title` (at most 31 characters); the first row stays in view. Numbers stay numbers."""
    written = BytesIO()
    with TemporaryDirectory() as folder:
        _write(Path(folder), written, rows, title)
    return written.getvalue()


def _write(folder: Path, written: BytesIO, rows: Iterable[Sequence[Cell]], title: str) -> None:
    # In constant memory each row goes to a file as it comes, so rows are written once and in order.
    with xlsxwriter.Workbook(written, {**_OPTIONS, "tmpdir": str(folder)}) as book:
        sheet = book.add_worksheet(title)
        sheet.freeze_panes(1, 0)
        for place, row in enumerate(rows):
            for column, cell in enumerate(row):
                if not isinstance(cell, str):
                    sheet.write_number(place, column, float(cell))
                elif cell:
                    sheet.write_string(place, column, cell)
