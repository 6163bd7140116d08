"""Rows of a text file: which letters the bytes stand for, and what parts the columns."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import Counter
from collections.abc import Iterator

from followup.domain.errors import BadValue
from followup.interchange.sheets.cells import MADE_HARMLESS, TypedText
from followup.interchange.sheets.markup import MOST_COLUMNS

SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
ENCODINGS = {
    "utf-8": "Unicode (UTF-8)",
    "utf-16": "Unicode (UTF-16)",
    "cp1252": "Western European",
    "cp1250": "Central European",
    "cp1251": "Cyrillic",
    "cp1253": "Greek",
    "cp1254": "Turkish",
    "cp1255": "Hebrew",
    "cp1256": "Arabic",
    "cp850": "Western European (DOS)",
    "mac_roman": "Western European (Mac)",
    "gb18030": "Chinese",
    "big5": "Chinese, traditional",
    "shift_jis": "Japanese",
    "euc_kr": "Korean",
}
"""What a person can choose from where the guess was wrong."""
_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_WORD = re.compile(rb"[A-Za-z\x80-\xff]{2,}")
_SAID = re.compile(r'"?sep=(?P<mark>[,;|\t])"?\r?\n', re.IGNORECASE)
_SAMPLE_LINES = 50


def decode(content: bytes, encoding: str = "") -> tuple[str, str, str]:
    """The text, the encoding it was read by, and a note where that was a guess. Raises BadValue."""
    name = encoding or _marked(content) or _unmarked(content)
    try:
        text = content.decode(name)
    except (UnicodeDecodeError, LookupError):
        raise BadValue(
            f"The file cannot be read as {name}. Save it as CSV in UTF-8 and choose it again.", field="file"
        ) from None
    if "\x00" in text:
        raise BadValue("This is not a table of text. Choose a CSV or XLSX file.", field="file")
    guessed = not encoding and name in ("cp1252", "cp1256")
    return text, name, _guess_note(text, name) if guessed else ""


def _marked(content: bytes) -> str:
    return next((name for mark, name in _MARKS if content.startswith(mark)), "")


def _unmarked(content: bytes) -> str:
    head = content[:4000]
    if head and head[1::2].count(0) > len(head) // 5:
        return "utf-16-le"
    if head and head[0::2].count(0) > len(head) // 5:
        return "utf-16-be"
    try:
        content.decode("utf-8")
    except UnicodeDecodeError:
        return "cp1256" if _looks_arabic(content) else "cp1252"
    return "utf-8"


def _looks_arabic(content: bytes) -> bool:
    """Arabic words are high bytes throughout; a word with accents is mostly plain letters."""
    words = [word for word in _WORD.findall(content) if not word.isascii()]
    throughout = sum(all(byte >= 0x80 for byte in word) for word in words)
    return throughout * 2 > len(words)


def _guess_note(text: str, name: str) -> str:
    sample = next((line for line in text.splitlines() if not line.isascii()), "")[:60]
    return f'The letters were taken to be {name}, as in "{sample}". If that is wrong, name the encoding.'


def split_rows(text: str, separator: str = "") -> tuple[str, Iterator[list[str]]]:
    """The separator, and the records; a blank line is one without cells. Raises BadValue."""
    # Line ends translated twice on their way leave two returns, which would double the rows.
    text = text.replace("\r\r\n", "\r\n")
    said = _SAID.match(text)
    chosen = separator or (said["mark"] if said else _separator(text))
    return chosen, _records(text, chosen, skipped=bool(said))


def _records(text: str, separator: str, *, skipped: bool) -> Iterator[list[str]]:
    """A first line that only names the separator is an empty record, so that rows keep their numbers."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    number = 0
    try:
        for number, record in enumerate(reader, start=1):
            _refuse_width(record, number)
            yield [] if skipped and number == 1 else [_unquoted(cell) for cell in record]
    except csv.Error as fault:
        raise BadValue(
            f"Row {number + 1} cannot be split into cells ({fault}). "
            "Look for a quotation mark that is not closed.",
            field="file",
        ) from None


def _refuse_width(record: list[str], number: int) -> None:
    """Cells past the last column that is taken must be blank; they are cut off."""
    if len(record) > MOST_COLUMNS and any(cell.strip() for cell in record[MOST_COLUMNS:]):
        raise BadValue(
            f"Row {number} has {len(record):,} columns; at most {MOST_COLUMNS} are taken.", field="file"
        )
    del record[MOST_COLUMNS:]


def _unquoted(cell: str) -> str:
    """Without the apostrophe that keeps a spreadsheet from running a cell, as it is written out here."""
    return TypedText(cell[1:]) if cell.startswith("'") and MADE_HARMLESS.match(cell) else cell


def _separator(text: str) -> str:
    """The mark that gives most rows the same number of columns, and more than one."""
    sample = "\n".join(text.splitlines()[:_SAMPLE_LINES])
    return max(SEPARATORS, key=lambda mark: _fit(sample, mark))


def _fit(sample: str, separator: str) -> tuple[int, int]:
    try:
        widths = Counter(len(row) for row in csv.reader(io.StringIO(sample), delimiter=separator) if row)
    except csv.Error:
        return 0, 0
    several = {width: rows for width, rows in widths.items() if width > 1}
    if not several:
        return 0, 0
    width, rows = max(several.items(), key=lambda item: (item[1], item[0]))
    return rows, width
