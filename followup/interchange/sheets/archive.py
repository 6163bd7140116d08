"""A workbook as an archive of XML: unpacked piece by piece and refused before it can do harm."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from typing import Any
from xml.parsers import expat

from followup.domain.errors import BadValue

MOST_UNPACKED = 200_000_000
_UNPACKED_TIMES = 10
_MOST_PARTS = 2000
_PIECE = 1 << 18


def open_archive(content: bytes, limit: int) -> zipfile.ZipFile:
    """The archive, once all of it was unpacked piece by piece and nothing kept.

    limit: bytes of the file; ten times as many are unpacked, and 200 MB at most. Raises BadValue.
    """
    try:
        archive = zipfile.ZipFile(io.BytesIO(content))
        _refuse_bomb(archive, min(limit * _UNPACKED_TIMES, MOST_UNPACKED))
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError, ValueError):
        raise BadValue("The workbook is damaged. Save it again and choose it anew.", field="file") from None
    return archive


def _refuse_bomb(archive: zipfile.ZipFile, limit: int) -> None:
    """The sizes written in an archive may lie, so what counts is what comes out."""
    members = archive.infolist()
    if len(members) > _MOST_PARTS:
        raise BadValue(
            f"The workbook has {len(members)} parts, which no log needs. Save the sheet as CSV.", field="file"
        )
    unpacked = 0
    for member in members:
        _refuse_size(unpacked + member.file_size, limit)
        with archive.open(member) as part:
            while piece := part.read(_PIECE):
                unpacked += len(piece)
                _refuse_size(unpacked, limit)


def _refuse_size(size: int, limit: int) -> None:
    if size > limit:
        raise BadValue(
            f"The workbook unpacks to more than {limit // 1_000_000} MB, which no log of operations needs. "
            "Save the sheet as CSV.",
            field="file",
        )


def read_xml(
    archive: zipfile.ZipFile,
    path: str,
    *,
    start: Callable[[str, dict[str, str]], None],
    end: Callable[[str], None] | None = None,
    text: Callable[[str], None] | None = None,
) -> None:
    """Reads one part element by element, by local names; nothing of it is kept here.

    Raises BadValue for XML that is broken or defines entities of its own, which no spreadsheet writes.
    """
    parser: Any = expat.ParserCreate(namespace_separator=" ")
    parser.buffer_text = True
    parser.StartDoctypeDeclHandler = _refuse_entities
    parser.StartElementHandler = lambda name, found: start(_local(name), found)
    if end is not None:
        parser.EndElementHandler = lambda name: end(_local(name))
    if text is not None:
        parser.CharacterDataHandler = text
    try:
        with archive.open(path) as part:
            parser.ParseFile(part)
    except (expat.ExpatError, zipfile.BadZipFile, KeyError, EOFError):
        raise BadValue(
            "The workbook is damaged: a part of it cannot be read. Save it again and choose it anew.",
            field="file",
        ) from None


def _local(name: str) -> str:
    return name.rpartition(" ")[2]


def attribute(found: dict[str, str], name: str) -> str:
    """An attribute by its local name, "" where there is none."""
    if name in found:
        return found[name]
    return next((value for key, value in found.items() if _local(key) == name), "")


def _refuse_entities(*_: object) -> None:
    raise BadValue(
        "The workbook defines entities of its own, which no spreadsheet program writes. It was not opened.",
        field="file",
    )
