"""Cells as they come out of a file, and what is said of one that cannot be used."""

from __future__ import annotations

import re
import unicodedata
from datetime import date, datetime
from typing import Literal, TypeAlias

from followup.domain.errors import BadValue

Cell: TypeAlias = str | date | datetime
"""Text as it stands in the file; a date only where a workbook marks the cell as one."""


class TypedText(str):
    """Text that its file marks as text: a note may begin with a sign of equality and is no formula."""

    __slots__ = ()


class Measured(str):
    """What was read off a chart or a gauge, to be written out: there +1 and -0.10 are numbers, as read."""

    __slots__ = ()


Outcome: TypeAlias = Literal["human", "refused"]

RUN_BY_SPREADSHEETS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""What a cell begins with that a spreadsheet may run as a formula (OWASP, CSV injection)."""
MADE_HARMLESS = re.compile(f"'+[{re.escape(''.join(RUN_BY_SPREADSHEETS))}]")
"""How a cell begins that was made harmless when written out; without the first apostrophe it is as it was."""

_FORMULA_ERROR = re.compile(r"#(REF!|N/A|VALUE!|DIV/0!|NAME\?|NULL!|NUM!|SPILL!|CALC!)", re.IGNORECASE)
_DIGITS_GONE = re.compile(r"[0-9](?:[.,][0-9]+)?E\+?[0-9]{1,3}", re.IGNORECASE)
_TOO_LONG = re.compile(r"[0-9]{15,}0")
MISSING_WORDS = frozenset(
    ("", "-", "--", ".", "?", "na", "n/a", "n.a.", "nan", "none", "null", "nd", "not done", "not recorded")
)


class CellProblem(BadValue):
    """A cell that cannot be used. outcome: a person can settle it ("human"), or it is wrong ("refused")."""

    def __init__(self, message: str, outcome: Outcome = "human") -> None:
        super().__init__(message, code=outcome)
        self.outcome: Outcome = outcome


def raw_text(cell: Cell) -> str:
    """The cell as text, kept beside whatever is made of it."""
    if isinstance(cell, datetime):
        return cell.isoformat(sep=" ")
    return cell.isoformat() if isinstance(cell, date) else cell


def tidy(cell: Cell) -> str:
    """Plain digits and signs, single spaces, no invisible marks; letters stay what they are."""
    text = raw_text(cell)
    if text.isascii():
        return " ".join(text.split())
    folded = unicodedata.normalize("NFKC", text)
    kept = (_plain_character(character) for character in folded)
    return " ".join("".join(kept).split())


def _plain_character(character: str) -> str:
    if character.isdecimal():
        return str(unicodedata.decimal(character))
    if character in "\u2212\u2010\u2011\u2012\u2013":
        return "-"
    if character == "\u066b":
        return "."
    if character == "\u066c":
        return ""
    return "" if unicodedata.category(character) == "Cf" else character


def says_missing(cell: Cell, codes: frozenset[str], *, words: bool = True) -> bool:
    """Whether a cell says that nothing is known: blank, a code of its column, or one of the usual words.

    Names keep such words: somebody's initials are NA.
    """
    text = tidy(cell).casefold()
    return text in codes or not text or (words and text in MISSING_WORDS)


def refuse_formula(cell: Cell) -> None:
    """Raises CellProblem for a formula that failed or has no stored result."""
    text = raw_text(cell).strip()
    if _FORMULA_ERROR.fullmatch(text):
        raise CellProblem(f"{text} is a formula that failed. Correct it in the spreadsheet.", "refused")
    if text.startswith("=") and not isinstance(cell, TypedText):
        raise CellProblem(
            "A formula without a result. Open the file in a spreadsheet and save it again.", "refused"
        )


def refuse_control(cell: Cell) -> None:
    """Raises CellProblem for a character that no keyboard types; line ends and tabs are none of them."""
    if isinstance(cell, str) and not cell.isprintable():
        found = next((one for one in cell if unicodedata.category(one) == "Cc" and one not in "\t\n\r"), None)
        if found is not None or "\ufffd" in cell:
            named = f"U+{ord(found):04X}" if found else "U+FFFD"
            raise CellProblem(f"The cell holds the invisible character {named}. Type it again.", "refused")


def refuse_lost_digits(text: str) -> None:
    """Raises CellProblem where a spreadsheet has rounded a long number."""
    if _TOO_LONG.fullmatch(text):
        raise CellProblem(
            f'"{text}" has more than 15 digits and ends in noughts, as a number does that a spreadsheet '
            "rounded. Compare it with the source, and type it as text."
        )
    if _DIGITS_GONE.fullmatch(text):
        raise CellProblem(
            f'"{text}" is a number that a spreadsheet shortened; its digits are gone. Type it again as text.',
            "refused",
        )
