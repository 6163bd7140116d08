"""From bytes to rows: headings, row numbers as a spreadsheet counts them, and raw cells."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import islice

from django.conf import settings

from followup.domain.errors import BadValue
from followup.interchange.sheets.cells import Cell, tidy
from followup.interchange.sheets.plain_text import SEPARATORS, decode, split_rows
from followup.interchange.sheets.workbook import is_workbook, read_workbook

MOST_COLUMNS = 500
MOST_ROWS = 200_000
_TOTAL = re.compile(r"(grand )?totals?|sums?|gesamt|summe|somme|suma|المجموع|الإجمالي", re.IGNORECASE)
_NOT_TABLES = (
    (b"%PDF", "a PDF"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"{\\rtf", "a letter"),
)


@dataclass(frozen=True, slots=True)
class SheetRow:
    """number: as a spreadsheet counts, headings included; ignored: why the row is no record, or ""."""

    number: int
    cells: tuple[Cell, ...]
    ignored: str = ""


@dataclass(frozen=True, slots=True)
class Sheet:
    """rows: every row below the headings, down to the last that holds anything."""

    name: str
    headers: tuple[str, ...]
    rows: tuple[SheetRow, ...]
    encoding: str = ""
    separator: str = ""
    notes: tuple[str, ...] = ()


def read_sheet(
    content: bytes,
    *,
    encoding: str = "",
    separator: str = "",
    sheet: str = "",
    limit: int | None = None,
) -> Sheet:
    """Reads a CSV of any common encoding and separator, or a workbook. Nothing in it is run.

    limit: most bytes taken, else the setting SHEET_MAX_BYTES. Raises BadValue with `field="file"` for what is
    too large, damaged, locked, wider than 500 columns or longer than 200,000 rows, or no table at all.
    """
    _refuse_unfit(content, limit or settings.SHEET_MAX_BYTES)
    if is_workbook(content):
        name, rows, notes = read_workbook(content, sheet, limit or settings.SHEET_MAX_BYTES)
        return _sheet(name, rows, notes)
    text, encoding, note = decode(content, encoding)
    separator, records = split_rows(text, separator)
    notes = [note] if note else []
    if not separator.isspace():
        notes.append(f"Columns are parted by {SEPARATORS.get(separator, separator)}s.")
    return _sheet("", records, notes, encoding, separator)


def _refuse_unfit(content: bytes, limit: int) -> None:
    if not content.strip():
        raise BadValue("The file is empty. Choose the file that holds the rows.", field="file")
    if len(content) > limit:
        raise BadValue(
            f"The file has {len(content) / 1_000_000:.1f} MB; at most {limit // 1_000_000} MB "
            "are taken. Split it.",
            field="file",
        )
    for start, kind in _NOT_TABLES:
        if content.startswith(start):
            raise BadValue(f"This is {kind}, not a table. Choose a CSV or XLSX file.", field="file")


def _sheet(
    name: str, records: Iterable[Sequence[Cell]], notes: list[str], encoding: str = "", separator: str = ""
) -> Sheet:
    rows = list(islice(records, MOST_ROWS + 1))
    if len(rows) > MOST_ROWS:
        raise BadValue(f"The file has more than {MOST_ROWS:,} rows. Split it.", field="file")
    top = next((place for place, row in enumerate(rows) if _filled(row)), None)
    if top is None:
        raise BadValue("The file holds no cell. Choose the file that holds the rows.", field="file")
    headers = _headers(rows[top], notes)
    below = rows[top + 1 :]
    while below and not _filled(below[-1]):
        below.pop()
    numbered = enumerate(below, start=top + 2)
    kept = tuple(SheetRow(number, tuple(row), _why_ignored(row, headers)) for number, row in numbered)
    return Sheet(name, headers, kept, encoding, separator, tuple(notes))


def _filled(row: Sequence[Cell]) -> list[str]:
    return [text for cell in row if (text := tidy(cell))]


def _headers(row: Sequence[Cell], notes: list[str]) -> tuple[str, ...]:
    texts = [tidy(cell) for cell in row]
    while texts and not texts[-1]:
        texts.pop()
    if len(texts) > MOST_COLUMNS:
        raise BadValue(f"The file has {len(texts)} columns; at most {MOST_COLUMNS} are taken.", field="file")
    seen: dict[str, int] = {}
    headers = []
    for place, text in enumerate(texts, start=1):
        name = text or f"Column {place}"
        seen[name] = seen.get(name, 0) + 1
        if not text or seen[name] > 1:
            shown = name if seen[name] == 1 else f"{name} ({seen[name]})"
            notes.append(
                f'Column {place} has {"the heading of another" if text else "no heading"}: "{shown}".'
            )
            name = shown
        headers.append(name)
    return tuple(headers)


def _why_ignored(row: Sequence[Cell], headers: tuple[str, ...]) -> str:
    filled = _filled(row)
    if not filled:
        return "blank"
    if _TOTAL.fullmatch(filled[0].rstrip(":")) and len(filled) * 2 <= len(headers) + 1:
        return "a total"
    if tuple(tidy(cell) for cell in row) == headers:
        return "the headings again"
    if len(filled) == 1 and len(headers) > 2 and not any(letter.isdigit() for letter in filled[0]):
        return "a heading"
    return ""
