"""ODS (ISO/IEC 26300): which sheets there are, and what one says beside its values."""

from __future__ import annotations

import zipfile

from followup.interchange.sheets.archive import attribute, read_xml
from followup.interchange.sheets.markup import FORMULA, Markup

CONTENT = "content.xml"
_SHOWN = ("", "visible")
_MOST_HIDDEN = 20_000
# What a spreadsheet shows in a cell whose formula failed.
_FAILED = ("#", "Err:")


def read_markups(archive: zipfile.ZipFile) -> dict[str, Markup]:
    """Every sheet by its name, in order. Raises BadValue for a damaged file or a sheet that is too large."""
    scan = _Scan()
    read_xml(archive, CONTENT, start=scan.start, end=scan.end, text=scan.text)
    return scan.sheets


class _Scan:
    """Follows the elements of all sheets; a run of equal rows or cells is written once with its length."""

    def __init__(self) -> None:
        self.sheets: dict[str, Markup] = {}
        self._sheet = Markup()
        self._row = self._column = self._rows = 0
        self._cell: dict[str, str] | None = None
        self._words: list[str] = []

    def start(self, name: str, found: dict[str, str]) -> None:
        if name == "table":
            self._sheet = self.sheets.setdefault(attribute(found, "name"), Markup())
            self._row = self._column = self._rows = 0
        elif name == "table-column":
            self._hide(self._sheet.hidden_columns, self._column, found, "number-columns-repeated")
            self._column += _times(found, "number-columns-repeated")
        elif name == "table-row":
            self._rows, self._column = _times(found, "number-rows-repeated"), 0
            self._hide(self._sheet.hidden_rows, self._row, found, "number-rows-repeated")
        elif name in ("table-cell", "covered-table-cell"):
            self._cell, self._words = found, []

    def _hide(self, hidden: list[int], first: int, found: dict[str, str], repeated: str) -> None:
        if attribute(found, "visibility") not in _SHOWN:
            hidden.extend(range(first, first + min(_times(found, repeated), _MOST_HIDDEN)))

    def text(self, piece: str) -> None:
        if self._cell is not None:
            self._words.append(piece)

    def end(self, name: str) -> None:
        if name in ("table-cell", "covered-table-cell") and self._cell is not None:
            self._end_cell(self._cell)
            self._cell = None
        elif name == "table-row":
            self._row += self._rows

    def _end_cell(self, found: dict[str, str]) -> None:
        times = _times(found, "number-columns-repeated")
        shown, formula = "".join(self._words).strip(), attribute(found, "formula")
        first = (self._row, self._column)
        self._column += times
        if shown or formula or attribute(found, "value-type"):
            self._sheet.fill(self._row + self._rows - 1, self._column - 1, times * self._rows)
            if formula:
                self._sheet.marks.setdefault(first[0], {})[first[1]] = FORMULA
            if formula and (not shown or shown.startswith(_FAILED)):
                self._sheet.answers[first] = shown or f"={formula.removeprefix('of:').lstrip('=')}"
        tall, wide = _times(found, "number-rows-spanned"), _times(found, "number-columns-spanned")
        if tall > 1 or wide > 1:
            self._sheet.merged.append((first, (first[0] + tall - 1, first[1] + wide - 1)))


def _times(found: dict[str, str], name: str) -> int:
    number = attribute(found, name)
    return int(number) if number.isdecimal() else 1
