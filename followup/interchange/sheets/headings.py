"""Headings: which row holds them, what each is called, and which import column its words stand for."""

from __future__ import annotations

import re
from collections.abc import Sequence

from followup.domain.errors import BadValue
from followup.interchange.sheets.cells import Cell, tidy
from followup.interchange.sheets.columns import CATALOGUE, Column
from followup.interchange.sheets.markup import MOST_COLUMNS

SEARCHED_ROWS = 30
_KNOWN_ENOUGH = 2
"""Headings that must be known for a row to be taken for the headings, wherever it stands."""


def plain_heading(heading: str) -> str:
    """Lower case, without units in brackets, with spaces for the marks that join words."""
    bare = re.sub(r"\([^)]*\)|\[[^]]*\]", " ", tidy(heading).casefold())
    return " ".join(re.sub(r"[_\-.:]+", " ", bare).split())


KNOWN: dict[str, Column] = {}
"""Import columns by the plain words of their headings."""
for _column in CATALOGUE.values():
    for _heading in (_column.name, *_column.headings):
        KNOWN.setdefault(plain_heading(_heading), _column)


def heading_row(rows: Sequence[Sequence[Cell]]) -> int | None:
    """The place of the headings among the first rows: titles, dates and blank rows may stand above them.

    The row with the most known headings; where none has two, the first that is filled at least half as far
    as the widest. None if no row holds anything.
    """
    widths = [_width(row) for row in rows[:SEARCHED_ROWS]]
    if not any(widths):
        later = (place for place, row in enumerate(rows) if _width(row))
        return next(later, None)
    known = [_known_headings(row) if widths[place] else 0 for place, row in enumerate(rows[:SEARCHED_ROWS])]
    if max(known) >= _KNOWN_ENOUGH:
        return known.index(max(known))
    return next(place for place, width in enumerate(widths) if width * 2 >= max(widths))


def _width(row: Sequence[Cell]) -> int:
    return sum(bool(tidy(cell)) for cell in row)


def _known_headings(row: Sequence[Cell]) -> int:
    return len({KNOWN[plain].name for cell in row if (plain := plain_heading(tidy(cell))) in KNOWN})


def named(row: Sequence[Cell], notes: list[str]) -> tuple[str, ...]:
    """The headings of a row, each with a name of its own; adds to the notes where one had to be made."""
    texts = [tidy(cell) for cell in row]
    while texts and not texts[-1]:
        texts.pop()
    if len(texts) > MOST_COLUMNS:
        raise BadValue(f"The file has {len(texts)} columns; at most {MOST_COLUMNS} are taken.", field="file")
    headers: list[str] = []
    for place, text in enumerate(texts, start=1):
        name = _free(text or f"Column {place}", headers)
        if name != text:
            fault = "the heading of another" if text else "no heading"
            notes.append(f'Column {place} has {fault}: "{name}".')
        headers.append(name)
    return tuple(headers)


def _free(name: str, taken: list[str]) -> str:
    """The name, or the name with the first number that nobody has."""
    number = 1
    shown = name
    while shown in taken:
        number += 1
        shown = f"{name} ({number})"
    return shown
