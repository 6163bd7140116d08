"""Rows of a workbook (XLSX, XLS, ODS), after checks that it is safe to open. Nothing in it is run."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from functools import partial
from typing import TypeAlias

import python_calamine

from followup.domain.errors import BadValue
from followup.interchange.sheets import ods_markup, xlsx_markup
from followup.interchange.sheets.archive import open_archive
from followup.interchange.sheets.cells import Cell, TypedText
from followup.interchange.sheets.markup import Markup, Range
from followup.interchange.sheets.older_workbook import OlderBook

_PACKED, _OLDER = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"
_MarkupOf: TypeAlias = Callable[[str], Markup]
_MOST_EXACT = 1e15
"""From here on a spreadsheet no longer keeps every digit of a number."""


@dataclass(frozen=True, slots=True)
class WorkbookSheet:
    """name: of the sheet; names: of all sheets of the workbook; rows: from row 1, as wide as they are; marks:
    as in Markup.
    """

    name: str
    names: tuple[str, ...]
    rows: list[list[Cell]]
    marks: dict[int, dict[int, str]] = field(default_factory=dict)
    dates_1904: bool = False
    notes: list[str] = field(default_factory=list)


def is_workbook(content: bytes) -> bool:
    return content.startswith((_PACKED, _OLDER))


def read_workbook(content: bytes, sheet: str, limit: int) -> WorkbookSheet:
    """One sheet by name, or the first visible one that holds anything. Raises BadValue.

    limit: bytes of the file, of which the unpacked file may hold ten times as many.
    """
    if content.startswith(_OLDER):
        return _read_older(content, sheet)
    archive = open_archive(content, limit)
    if xlsx_markup.BOOK in archive.namelist():
        book = xlsx_markup.read_book(archive)
        names, hidden = list(book.paths), [name for name in book.paths if name in book.hidden]
        markup_of: _MarkupOf = partial(xlsx_markup.read_markup, archive, book)
    elif ods_markup.CONTENT in archive.namelist():
        markups = ods_markup.read_markups(archive)
        names, hidden, markup_of = list(markups), [], markups.__getitem__
    else:
        raise _cannot_open()
    name, markup = _choose(sheet, names, hidden, markup_of)
    rows = [[_cell(value) for value in row] for row in _values(content, name)[: markup.rows]]
    return _sheet(name, names, rows, markup, hidden)


def _read_older(content: bytes, sheet: str) -> WorkbookSheet:
    book = OlderBook(content)
    read: dict[str, list[list[object]]] = {}

    def markup_of(name: str) -> Markup:
        read[name], found = book.read(name)
        return found

    name, markup = _choose(sheet, book.names, [], markup_of)
    rows = [[_cell(value) for value in row] for row in read[name][: markup.rows]]
    return _sheet(name, book.names, rows, markup, [])


def _choose(wanted: str, names: list[str], hidden: list[str], markup_of: _MarkupOf) -> tuple[str, Markup]:
    if wanted and wanted not in names:
        raise BadValue(f'The workbook has no sheet "{wanted}". It has: {", ".join(names)}.', field="sheet")
    for name in [wanted] if wanted else sorted(names, key=lambda name: name in hidden):
        markup = markup_of(name)
        if markup.is_filled:
            return name, markup
    raise BadValue("The file holds no cell. Choose the file that holds the rows.", field="file")


def _values(content: bytes, name: str) -> Sequence[Sequence[object]]:
    try:
        book = python_calamine.load_workbook(io.BytesIO(content))
        return book.get_sheet_by_name(name).to_python(skip_empty_area=False)
    except python_calamine.PasswordError:
        raise BadValue("The workbook is locked by a password. Save it without one.", field="file") from None
    except (python_calamine.CalamineError, python_calamine.WorksheetNotFound, OSError, ValueError):
        raise _cannot_open() from None


def _cannot_open() -> BadValue:
    return BadValue(
        "The workbook cannot be opened: it is damaged or of another kind. Save it as XLSX or CSV.",
        field="file",
    )


def _sheet(
    name: str, names: list[str], rows: list[list[Cell]], markup: Markup, hidden: list[str]
) -> WorkbookSheet:
    for cells in rows:
        cells[:] = [
            TypedText(cell) if isinstance(cell, str) and cell.startswith("=") else cell for cell in cells
        ]
    # A formula that failed, or has no stored result, is told by its own text.
    for (row, column), text in markup.answers.items():
        if row < len(rows):
            rows[row].extend([""] * (column + 1 - len(rows[row])))
            rows[row][column] = text
    _fill_merged(rows, markup.merged)
    notes = [*_other_sheets(names, name, hidden), *markup.notes()]
    return WorkbookSheet(name, tuple(names), rows, markup.marks, markup.dates_1904, notes)


def _other_sheets(names: list[str], name: str, hidden: list[str]) -> list[str]:
    others = [f"{other} (hidden)" if other in hidden else other for other in names if other != name]
    notes = [f'Only the sheet "{name}" was read, not {", ".join(others)}.'] if others else []
    return [*notes, *([f'The sheet "{name}" is hidden in the workbook.'] if name in hidden else [])]


def _cell(value: object) -> Cell:
    if isinstance(value, str):
        # A name may carry a zero character in the file; no database keeps one.
        return value.replace("\x00", "\ufffd") if "\x00" in value else value
    if isinstance(value, date):
        return value
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, float):
        return _number(value)
    if isinstance(value, time | timedelta | int):
        return str(value)
    return "" if value is None else str(value)


def _number(value: float) -> str:
    """As a person would type it; one too long to be exact as 1.2E+16, so that nobody takes it for a code."""
    if abs(value) >= _MOST_EXACT:
        return f"{value:.6E}"
    return str(int(value)) if value.is_integer() else repr(value)


def _fill_merged(rows: list[list[Cell]], ranges: list[Range]) -> None:
    """A range merged downwards says one thing for all its rows. Cells that are blank without being merged
    stay blank, and a heading merged across columns is not multiplied.
    """
    for (top, left), (bottom, _) in ranges:
        if top >= len(rows) or left >= len(rows[top]) or rows[top][left] == "":
            continue
        for row in rows[top + 1 : bottom + 1]:
            row.extend([""] * (left + 1 - len(row)))
            row[left] = rows[top][left]


def without_time(cell: date | datetime) -> date:
    """The calendar day as written: 23:30 stays on its own day."""
    return cell.date() if isinstance(cell, datetime) else cell
