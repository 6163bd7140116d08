"""Formulas of an XLSX sheet that failed or hold no result: a reader of values leaves both blank."""

from __future__ import annotations

import io
import posixpath
import zipfile
from collections.abc import Iterator
from typing import IO
from xml.etree.ElementTree import Element, ParseError, fromstring, iterparse

_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_LINK = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"


def unanswered_formulas(content: bytes, sheet: str) -> list[tuple[int, int, str]]:
    """Row and column from zero, and the error or the formula, for each such cell of the sheet named."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            path = _path_of(archive, sheet)
            if path is None:
                return []
            with archive.open(path) as part:
                return list(_unanswered(part))
    except (ParseError, KeyError):
        return []


def _path_of(archive: zipfile.ZipFile, sheet: str) -> str | None:
    """Where the sheet lies in the archive; None in a workbook of another make."""
    if "xl/workbook.xml" not in archive.namelist():
        return None
    book = fromstring(archive.read("xl/workbook.xml"))
    links = {element.get("name"): element.get(_LINK) for element in book.iter(f"{_MAIN}sheet")}
    for relation in fromstring(archive.read("xl/_rels/workbook.xml.rels")):
        if relation.get("Id") == links.get(sheet):
            return posixpath.normpath(posixpath.join("/xl", relation.get("Target", ""))).lstrip("/")
    return None


def _unanswered(part: IO[bytes]) -> Iterator[tuple[int, int, str]]:
    for _, element in iterparse(part):
        if element.tag == f"{_MAIN}c":
            yield from _of_cell(element)
        if element.tag in (f"{_MAIN}c", f"{_MAIN}row"):
            element.clear()


def _of_cell(cell: Element) -> Iterator[tuple[int, int, str]]:
    formula, stored = cell.find(f"{_MAIN}f"), cell.findtext(f"{_MAIN}v")
    failed = cell.get("t") == "e"
    if failed or (formula is not None and not stored and cell.get("t") != "str"):
        row, column = _place(cell.get("r", ""))
        text = stored or "#REF!" if failed or formula is None else f"={formula.text or ''}"
        yield row, column, text


def _place(reference: str) -> tuple[int, int]:
    """Row and column from zero of a reference such as C12."""
    letters = reference.rstrip("0123456789")
    column = 0
    for letter in letters:
        column = column * 26 + ord(letter) - ord("A") + 1
    return int(reference[len(letters) :] or 1) - 1, column - 1
