"""From bytes to rows: headings, row numbers as a spreadsheet counts them, and raw cells."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice

from django.conf import settings

from followup.domain.errors import BadValue
from followup.interchange.sheets.cells import Cell, tidy
from followup.interchange.sheets.headings import heading_row, named
from followup.interchange.sheets.markup import MOST_ROWS
from followup.interchange.sheets.plain_text import SEPARATORS, decode, split_rows
from followup.interchange.sheets.workbook import is_workbook, read_workbook

_TOTAL = re.compile(
    r"(?:(?:sub|grand )?totals?|sums?|means?|averages?|medians?|counts?|gesamt|summe|mittelwert|somme|moyenne"
    r"|suma|promedio|media|المجموع|الإجمالي|المتوسط)[ :=]*[0-9.,]*|n ?= ?[0-9]+",
    re.IGNORECASE,
)
_NO_MARK: Mapping[int, str] = {}
_NO_MARKS: Mapping[int, Mapping[int, str]] = {}
_WORDED = re.compile(r"[^\W\d_]{3,}")
_NOT_TABLES = (
    (b"%PDF", "a PDF"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"{\\rtf", "a letter"),
)


@dataclass(frozen=True, slots=True)
class SheetRow:
    """number: as a spreadsheet counts, headings included; ignored: why the row is no record, or ""; marks: by
    column from zero, the cells that are a formula's result or shown as a fraction.
    """

    number: int
    cells: tuple[Cell, ...]
    ignored: str = ""
    marks: Mapping[int, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Sheet:
    """rows: every row below the headings, down to the last that holds anything; names: of all sheets of the
    workbook; heading_row: where the headings stand, from 1; dates_1904: how a workbook counts its days.
    """

    name: str
    headers: tuple[str, ...]
    rows: tuple[SheetRow, ...]
    encoding: str = ""
    separator: str = ""
    notes: tuple[str, ...] = ()
    names: tuple[str, ...] = ()
    heading_row: int = 1
    dates_1904: bool = False


def read_sheet(
    content: bytes,
    *,
    encoding: str = "",
    separator: str = "",
    sheet: str = "",
    headings: int = 0,
    limit: int | None = None,
) -> Sheet:
    """Reads a CSV of any common encoding and separator, or a workbook. Nothing in it is run.

    headings: the row that holds them, from 1, or 0 to find it; limit: most bytes taken, else the setting
    SHEET_MAX_BYTES. Raises BadValue with `field="file"` for what is too large, damaged, locked, wider than
    500 columns or longer than 200,000 rows, or no table at all.
    """
    _refuse_unfit(content, limit or settings.SHEET_MAX_BYTES)
    if is_workbook(content):
        found = read_workbook(content, sheet, limit or settings.SHEET_MAX_BYTES)
        top, headers, rows, notes = _table(found.rows, headings, found.marks)
        return Sheet(
            name=found.name,
            headers=headers,
            rows=rows,
            notes=(*found.notes, *notes),
            names=found.names,
            heading_row=top,
            dates_1904=found.dates_1904,
        )
    text, encoding, note = decode(content, encoding)
    separator, records = split_rows(text, separator)
    top, headers, rows, notes = _table(records, headings)
    if not separator.isspace():
        notes.insert(0, f"Columns are parted by {SEPARATORS.get(separator, separator)}s.")
    if note:
        notes.insert(0, note)
    return Sheet("", headers, rows, encoding, separator, tuple(notes), heading_row=top)


def _refuse_unfit(content: bytes, limit: int) -> None:
    if not content.strip():
        raise BadValue("The file is empty. Choose the file that holds the rows.", field="file")
    refuse_size(len(content), limit)
    for start, kind in _NOT_TABLES:
        if content.startswith(start):
            raise BadValue(f"This is {kind}, not a table. Choose a CSV or XLSX file.", field="file")


def refuse_size(size: int, limit: int) -> None:
    """Raises BadValue for a file of more bytes than are taken."""
    if size > limit:
        raise BadValue(
            f"The file has {size / 1_000_000:.1f} MB; at most {limit // 1_000_000} MB are taken. Split it.",
            field="file",
        )


def _table(
    records: Iterable[Sequence[Cell]], headings: int, marks: Mapping[int, Mapping[int, str]] = _NO_MARKS
) -> tuple[int, tuple[str, ...], tuple[SheetRow, ...], list[str]]:
    """Row of the headings, the headings, the rows below them, and notes."""
    rows = list(islice(records, MOST_ROWS + 1))
    if len(rows) > MOST_ROWS:
        raise BadValue(f"The file has more than {MOST_ROWS:,} rows. Split it.", field="file")
    top = headings - 1 if headings else heading_row(rows)
    if top is None or not any(_is_filled(row) for row in rows[top : top + 1]):
        raise BadValue(
            f"Row {headings} holds no heading. Say which row does."
            if headings
            else "The file holds no cell. Choose the file that holds the rows.",
            field="headings" if headings else "file",
        )
    notes: list[str] = []
    if any(_is_filled(row) for row in rows[:top]):
        notes.append(f"The headings were found in row {top + 1}; what stands above them is left out.")
    headers = named(rows[top], notes)
    below = rows[top + 1 :]
    while below and not _is_filled(below[-1]):
        below.pop()
    numbered = enumerate(below, start=top + 2)
    kept = tuple(
        SheetRow(number, tuple(row), _why_ignored(row, headers), marks.get(number - 1, _NO_MARK))
        for number, row in numbered
    )
    return top + 1, headers, kept, notes


def _is_filled(row: Sequence[Cell]) -> bool:
    return any(_says_something(cell) for cell in row)


def _says_something(cell: Cell) -> bool:
    """As `tidy` would find, without making the text: it is asked of every cell of a file."""
    if isinstance(cell, str) and cell.isascii():
        return bool(cell) and not cell.isspace()
    return bool(tidy(cell))


def _why_ignored(row: Sequence[Cell], headers: tuple[str, ...]) -> str:
    filled = [cell for cell in row if _says_something(cell)]
    if not filled:
        return "blank"
    first = tidy(filled[0])
    if len(filled) * 2 <= len(headers) + 1 and _TOTAL.fullmatch(first.rstrip(":")):
        return "a total"
    if first == headers[0] and tuple(tidy(cell) for cell in row) == headers:
        return "the headings again"
    if len(filled) == 1 and len(headers) > 2 and _is_worded(first):
        return "a heading"
    return ""


def _is_worded(text: str) -> bool:
    """Words and no code: "Second list" or "Operations of 2024", but not "0012" or "AB12"."""
    has_digit = any(letter.isdigit() for letter in text)
    return not has_digit or (" " in text and _WORDED.search(text) is not None)
