"""The bytes of an iCalendar file as nested blocks of properties, each with the line it stands on.

Unfolded as bytes and only then decoded: a writer may have folded inside a letter (RFC 5545, 3.1).
"""

from __future__ import annotations

import codecs
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from icalendar.parser import Contentline

from followup.domain.errors import BadValue
from followup.interchange.feeds.problems import Problem

MOST_BYTES = 10_000_000
MOST_LEVELS = 10
_SHOWN = 60
_TAB = 9


@dataclass(frozen=True, slots=True)
class Property:
    """One line of a block. raw: the value as written; text: with backslashes undone, for text values."""

    line: int
    name: str
    params: dict[str, str]
    raw: str
    text: str


@dataclass(slots=True)
class Block:
    """What stands between BEGIN and END of one component."""

    name: str
    line: int
    properties: list[Property] = field(default_factory=list)
    blocks: list[Block] = field(default_factory=list)
    unread: list[Problem] = field(default_factory=list)
    """Lines that are no properties. They are left out."""

    def all(self, name: str) -> list[Property]:
        return [found for found in self.properties if found.name == name]

    def first(self, name: str) -> Property | None:
        return next(iter(self.all(name)), None)

    def text(self, name: str) -> str:
        """The text of the first property of this name without control characters, or ""."""
        found = self.first(name)
        return "".join(c for c in found.text if c.isprintable() or c == "\n").strip() if found else ""


def read_blocks(data: bytes) -> tuple[list[Block], list[Problem]]:
    """The outermost blocks of a file.

    Raises BadValue for a file above MOST_BYTES, one that is no iCalendar file, is not UTF-8 or UTF-16, or
    whose blocks do not close. An entry that the end of the file cuts off is a problem of its own.
    """
    if len(data) > MOST_BYTES:
        raise BadValue(
            f"The file has {len(data):,} bytes. At most {MOST_BYTES:,} are read: export a shorter period."
        )
    root = Block("", 0)
    stack = [root]
    for line, text in _logical_lines(data):
        _take(stack, line, text)
    cut_off = "has no END: the file is cut off."
    problems = [Problem(cut.line, cut.text("UID"), cut.name, cut_off, refused=True) for cut in stack[1:]]
    _drop_cut_off(stack)
    return root.blocks, problems


def _drop_cut_off(stack: list[Block]) -> None:
    """The calendar itself may lack its END; an entry that lacks it may lack more than that."""
    if len(stack) > 2:
        stack[1].blocks.pop()


def _take(stack: list[Block], line: int, text: str) -> None:
    word, _, name = text.partition(":")
    name = name.strip().upper()
    match word.strip().upper():
        case "BEGIN":
            _begin(stack, line, name)
        case "END":
            if stack[-1].name != name or len(stack) == 1:
                raise BadValue(f"Line {line}: END:{name} closes nothing. {_expected(stack)}")
            stack.pop()
        case _ if len(stack) == 1:
            raise BadValue(_no_calendar(line, text))
        case _:
            _add_property(stack[-1], line, text)


def _begin(stack: list[Block], line: int, name: str) -> None:
    if len(stack) == 1 and name != "VCALENDAR":
        raise BadValue(_no_calendar(line, f"BEGIN:{name}"))
    if len(stack) > MOST_LEVELS:
        raise BadValue(f"Line {line}: more than {MOST_LEVELS} blocks inside each other.")
    block = Block(name, line)
    stack[-1].blocks.append(block)
    stack.append(block)


def _add_property(block: Block, line: int, text: str) -> None:
    try:
        content = Contentline(text)
        name, params, raw = content.raw_parts()
        read = {key.upper(): _one(value) for key, value in params.items()}
        block.properties.append(Property(line, name.upper(), read, raw.strip(), content.parts()[2]))
    except ValueError:
        block.unread.append(Problem(line, "", text[:_SHOWN], "is no iCalendar property and is left out."))


def _one(value: str | Iterable[str]) -> str:
    return value if isinstance(value, str) else ",".join(value)


def _expected(stack: list[Block]) -> str:
    inner = stack[-1]
    return f"END:{inner.name} was expected, for line {inner.line}." if inner.name else "No block is open."


def _no_calendar(line: int, text: str) -> str:
    return (
        f'Line {line} is "{text[:_SHOWN]}", where an iCalendar file has BEGIN:VCALENDAR. '
        "Save the calendar itself (.ics), not a page about it."
    )


def _logical_lines(data: bytes) -> Iterator[tuple[int, str]]:
    found = False
    for line, parts in _unfolded(_as_utf8(data)):
        found = True
        try:
            yield line, b"".join(parts).decode()
        except UnicodeDecodeError:
            raise BadValue(f"Line {line} is not UTF-8. Save the calendar as UTF-8.") from None
    if not found:
        raise BadValue("The file is empty.")


def _as_utf8(data: bytes) -> bytes:
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        try:
            data = data.decode("utf-16").encode()
        except UnicodeDecodeError:
            raise BadValue("The file begins as UTF-16 and is not. Save the calendar as UTF-8.") from None
    return data.removeprefix(codecs.BOM_UTF8).replace(b"\r\n", b"\n").replace(b"\r", b"\n")


def _unfolded(data: bytes) -> Iterator[tuple[int, list[bytes]]]:
    """Each logical line with the number of its first physical one; empty lines count and are passed over."""
    start, parts = 0, list[bytes]()
    for number, physical in enumerate(data.split(b"\n"), start=1):
        if not physical:
            continue
        if physical[0] in (ord(" "), _TAB) and parts:
            parts.append(physical[1:])
            continue
        if parts:
            yield start, parts
        start, parts = number, [physical]
    if parts and any(part.strip() for part in parts):
        yield start, parts
