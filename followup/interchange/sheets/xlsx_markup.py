"""XLSX: which sheets there are, and what one says beside its values."""

from __future__ import annotations

import posixpath
import re
import zipfile
from dataclasses import dataclass, field

from followup.interchange.sheets.archive import attribute, read_xml
from followup.interchange.sheets.markup import FORMULA, FRACTION, Markup, Range

BOOK = "xl/workbook.xml"
_REFERENCE = re.compile(r"([A-Z]{1,3})([0-9]{1,7})")
_TRUE = ("1", "true")
_MOST_HIDDEN = 20_000


@dataclass(slots=True)
class Book:
    """paths: part of each sheet by name, in order; hidden: names of hidden ones; coloured, fractions: numbers
    of the cell styles with a filled background, and of those that show a number as a fraction.
    """

    paths: dict[str, str] = field(default_factory=dict)
    hidden: set[str] = field(default_factory=set)
    dates_1904: bool = False
    coloured: frozenset[int] = frozenset()
    fractions: frozenset[int] = frozenset()


def read_book(archive: zipfile.ZipFile) -> Book:
    """The sheets of the workbook. Raises BadValue for a damaged one."""
    book, links = Book(), _links(archive)

    def start(name: str, found: dict[str, str]) -> None:
        if name == "sheet":
            title = found.get("name", "")
            book.paths[title] = links.get(attribute(found, "id"), "")
            if found.get("state", "visible") != "visible":
                book.hidden.add(title)
        elif name == "workbookPr":
            book.dates_1904 = found.get("date1904", "0") in _TRUE

    read_xml(archive, BOOK, start=start)
    _read_styles(archive, book)
    return book


def _links(archive: zipfile.ZipFile) -> dict[str, str]:
    found_links: dict[str, str] = {}

    def start(name: str, found: dict[str, str]) -> None:
        if name == "Relationship":
            target = posixpath.normpath(posixpath.join("/xl", found.get("Target", ""))).lstrip("/")
            found_links[found.get("Id", "")] = target

    read_xml(archive, "xl/_rels/workbook.xml.rels", start=start)
    return found_links


def _read_styles(archive: zipfile.ZipFile, book: Book) -> None:
    """The first two fills are none and a pattern; the number formats 12 and 13 are built-in fractions."""
    if "xl/styles.xml" not in archive.namelist():
        return
    inside, styles, fractions = [""], [], {"12", "13"}

    def start(name: str, found: dict[str, str]) -> None:
        if name in ("cellXfs", "cellStyleXfs"):
            inside[0] = name
        elif name == "numFmt" and "?/" in found.get("formatCode", ""):
            fractions.add(found.get("numFmtId", ""))
        elif name == "xf" and inside[0] == "cellXfs":
            styles.append((found.get("fillId", "0"), found.get("numFmtId", "0")))

    read_xml(archive, "xl/styles.xml", start=start)
    numbered = list(enumerate(styles))
    book.coloured = frozenset(number for number, (fill, _) in numbered if fill not in ("0", "1"))
    book.fractions = frozenset(number for number, (_, shown) in numbered if shown in fractions)


def read_markup(archive: zipfile.ZipFile, book: Book, name: str) -> Markup:
    """Reads through one sheet. Raises BadValue for one that is damaged or too large to take in."""
    scan = _Scan(book)
    read_xml(archive, book.paths[name], start=scan.start, end=scan.end, text=scan.text)
    return scan.markup


class _Scan:
    """Follows the elements of a sheet and remembers one cell at a time."""

    def __init__(self, book: Book) -> None:
        self.markup = Markup(dates_1904=book.dates_1904)
        self._book = book
        self._row = self._column = -1
        self._cell: dict[str, str] = {}
        self._parts: dict[str, list[str]] = {}
        self._inside = ""

    def start(self, name: str, found: dict[str, str]) -> None:
        if name == "c":
            self._begin_cell(found)
        elif name in ("f", "v", "t", "is"):
            self._inside = name
            self._parts.setdefault(name, [])
        elif name == "row":
            self._begin_row(found)
        elif name == "col" and found.get("hidden") in _TRUE:
            first, last = int(found.get("min", "1")), int(found.get("max", "1"))
            self.markup.hidden_columns.extend(range(first - 1, min(last, _MOST_HIDDEN)))
        elif name == "mergeCell":
            self.markup.merged.extend(_ranges(found.get("ref", "")))

    def _begin_row(self, found: dict[str, str]) -> None:
        self._row = int(found["r"]) - 1 if "r" in found else self._row + 1
        self._column = -1
        if found.get("hidden") in _TRUE and len(self.markup.hidden_rows) < _MOST_HIDDEN:
            self.markup.hidden_rows.append(self._row)

    def _begin_cell(self, found: dict[str, str]) -> None:
        self._cell, self._parts = found, {}
        place = _REFERENCE.fullmatch(found.get("r", ""))
        if place:
            self._row, self._column = int(place[2]) - 1, _column(place[1])
        else:
            self._column += 1

    def text(self, piece: str) -> None:
        if self._inside:
            self._parts[self._inside].append(piece)

    def end(self, name: str) -> None:
        if name in ("f", "v", "t", "is"):
            self._inside = ""
        elif name == "c":
            self._end_cell()

    def _end_cell(self) -> None:
        stored = "".join(self._parts.get("v", ())) or "".join(self._parts.get("t", ()))
        kind = self._cell.get("t", "")
        unanswered = "f" in self._parts and not stored and kind != "str"
        if not self._parts and kind != "e":
            return
        self.markup.fill(self._row, self._column)
        style = int(self._cell.get("s", "0"))
        self.markup.coloured += style in self._book.coloured
        if style in self._book.fractions and kind in ("", "n"):
            self.markup.marks.setdefault(self._row, {})[self._column] = FRACTION
        elif "f" in self._parts:
            self.markup.marks.setdefault(self._row, {})[self._column] = FORMULA
        if kind == "e":
            self.markup.answers[self._row, self._column] = stored or "#REF!"
        elif unanswered:
            self.markup.answers[self._row, self._column] = f"={''.join(self._parts['f'])}"


def _column(letters: str) -> int:
    column = 0
    for letter in letters:
        column = column * 26 + ord(letter) - ord("A") + 1
    return column - 1


def _ranges(reference: str) -> list[Range]:
    ends = [_REFERENCE.fullmatch(part) for part in reference.split(":")]
    if len(ends) != 2 or not all(ends):
        return []
    (top, left), (bottom, right) = [(int(end[2]) - 1, _column(end[1])) for end in ends if end]
    return [((top, left), (bottom, right))]
