"""Rows of a workbook (XLSX, XLS, ODS), after checks that it is safe to unpack."""

from __future__ import annotations

import io
import zipfile
from datetime import date, datetime, time, timedelta
from typing import Any

import python_calamine

from followup.domain.errors import BadValue
from followup.interchange.sheets.cells import Cell
from followup.interchange.sheets.formulas import unanswered_formulas

_UNPACKED_TIMES = 10
_STARTS = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")


def is_workbook(content: bytes) -> bool:
    return content.startswith(_STARTS)


def read_workbook(content: bytes, sheet: str, limit: int) -> tuple[str, list[list[Cell]], list[str]]:
    """Name of the sheet read, its rows from row 1, and notes. Raises BadValue.

    sheet: its name, or "" for the first one that holds anything; limit: bytes, of which the unpacked file may
    hold ten times as many.
    """
    if content.startswith(_STARTS[0]):
        _refuse_bomb(content, limit * _UNPACKED_TIMES)
    try:
        book = python_calamine.load_workbook(io.BytesIO(content))
        name = sheet or _first_filled(book)
        found = book.get_sheet_by_name(name)
    except python_calamine.PasswordError:
        raise BadValue("The workbook is locked by a password. Save it without one.", field="file") from None
    except python_calamine.WorksheetNotFound:
        raise BadValue(
            f'The workbook has no sheet "{sheet}". It has: {", ".join(book.sheet_names)}.', field="sheet"
        ) from None
    except (python_calamine.CalamineError, OSError):
        raise BadValue(
            "The workbook cannot be opened: it is damaged or of another kind. Save it as XLSX or CSV.",
            field="file",
        ) from None
    rows = [[_cell(value) for value in row] for row in found.to_python(skip_empty_area=False)]
    _fill_merged(rows, found.merged_cell_ranges or [])
    if content.startswith(_STARTS[0]):
        for row, column, text in unanswered_formulas(content, name):
            if row < len(rows) and column < len(rows[row]) and rows[row][column] == "":
                rows[row][column] = text
    return name, rows, _other_sheets(book.sheet_names, name)


def _refuse_bomb(content: bytes, limit: int) -> None:
    """Unpacks piece by piece and keeps nothing, since the sizes written in an archive may lie."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            unpacked = 0
            for member in archive.infolist():
                _refuse_size(unpacked + member.file_size, limit)
                with archive.open(member) as part:
                    while piece := part.read(1 << 20):
                        unpacked += len(piece)
                        _refuse_size(unpacked, limit)
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError):
        raise BadValue("The workbook is damaged. Save it again and choose it anew.", field="file") from None


def _refuse_size(size: int, limit: int) -> None:
    if size > limit:
        raise BadValue(
            f"The workbook unpacks to more than {limit // 1_000_000} MB, which no log of operations needs. "
            "Save the sheet as CSV.",
            field="file",
        )


def _first_filled(book: Any) -> str:
    names: list[str] = book.sheet_names
    return next((name for name in names if book.get_sheet_by_name(name).height), names[0])


def _other_sheets(names: list[str], name: str) -> list[str]:
    others = [other for other in names if other != name]
    return [f'Only the sheet "{name}" was read, not {", ".join(others)}.'] if others else []


def _cell(value: object) -> Cell:
    if isinstance(value, str | date):
        return value
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, time | timedelta | int):
        return str(value)
    return "" if value is None else str(value)


def _fill_merged(rows: list[list[Cell]], ranges: list[tuple[tuple[int, int], tuple[int, int]]]) -> None:
    """A merged range says one thing for all its rows; cells left blank without merging stay blank."""
    for (top, left), (bottom, right) in ranges:
        if top >= len(rows) or left >= len(rows[top]):
            continue
        for row in rows[top : bottom + 1]:
            for place in range(left, min(right + 1, len(row))):
                row[place] = rows[top][left]


def without_time(cell: date | datetime) -> date:
    """The calendar day as written: 23:30 stays on its own day."""
    return cell.date() if isinstance(cell, datetime) else cell
