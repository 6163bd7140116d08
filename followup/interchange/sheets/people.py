"""A long sheet in parts of whole people, so that no more than a part is held and judged at once."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from followup.interchange.sheets.read import Sheet, SheetRow
from followup.interchange.sheets.rows import RowReader

PART = 1000
"""Rows of a part, and as many more as belong to its last person."""


def numbers_of(sheet: Sheet, reader: RowReader) -> list[str]:
    """Whose each row is; "" where it says nobody that can be used."""
    return ["" if row.ignored else reader.number_of(row) for row in sheet.rows]


def parts_of(sheet: Sheet, numbers: Sequence[str]) -> Iterator[Sheet]:
    """Rows in groups of whole people, in the order in which the people first come; as numbers_of has them."""
    people: dict[str, list[SheetRow]] = {}
    for row, number in zip(sheet.rows, numbers, strict=True):
        people.setdefault(number, []).append(row)
    part: list[SheetRow] = []
    for rows in people.values():
        part += rows
        if len(part) >= PART:
            yield _part(sheet, part)
            part = []
    if part:
        yield _part(sheet, part)


def _part(sheet: Sheet, rows: Sequence[SheetRow]) -> Sheet:
    return replace(sheet, rows=tuple(sorted(rows, key=lambda row: row.number)))
