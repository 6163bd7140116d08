"""Texts in an acuity column that are not one reading, told apart so that a person knows what to do."""

from __future__ import annotations

import re

from followup.domain.acuity.notation import Reason, UnreadableAcuity
from followup.domain.acuity.text import plain

MISSING_WORDS = frozenset(
    [
        *("", "-", "--", "na", "n/a", "n.a", "n.a.", "nan", "none", "null", "nd"),
        *("not done", "not tested", "not taken", "not recorded", "not measured", "not available"),
    ]
)
_MONTH = (
    r"(?:jan(?:uary)?|feb(?:ruary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sept?(?:ember)?|oct(?:ober)?"
    r"|nov(?:ember)?|dec(?:ember)?)(?![a-z])"
)
_DATE = (
    rf"[0-9]+(?P<mark>[-/.])[0-9]+(?P=mark)[0-9]+.*|[0-9]+[- /]{_MONTH}.*|{_MONTH}[- /][0-9]+(?![0-9.,]).*"
)
_FRACTION = r"[0-9]+(?:[.,][0-9]+)? ?/ ?[0-9]+(?:[.,][0-9]+)?"

# In this order: a date also holds slashes, and two fractions also hold a dash.
_BEFORE_READING = (
    (
        Reason.MISSING_CODE,
        r"- ?[0-9]{1,4}|9{3,4}",
        "is a code for a missing value, not acuity. Name it as one.",
    ),
    (
        Reason.MAYBE_MISSING,
        r"nil|zero|lost|unable",
        "can mean no light or not measured. Write NLP or leave blank.",
    ),
    (Reason.UNSURE, r".*\?.*", "is marked as unsure. Ask whoever wrote it."),
    (Reason.DATE, _DATE, "looks like a date."),
    (Reason.PERCENT, r".*%.*", "is a percentage, which is not acuity. Write the line or the letters read."),
    (
        Reason.NO_IMPROVEMENT,
        r"(?:(?:with )?(?:ph|pinhole):? ?)?(?:ni|no improvement|nip|niph)(?: (?:with )?(?:ph|pinhole))?",
        "is no improvement with a pinhole: it needs the unaided reading beside it.",
    ),
    (
        Reason.TWO_READINGS,
        r".*[0-9a-z).] ?(?:with )?(?:ph|pinhole):? ?(?:ni|no improvement)",
        "holds a reading and its pinhole. Write one a cell.",
    ),
    (
        Reason.RANGE,
        rf"{_FRACTION} ?(?:to|-|>|\.\.) ?{_FRACTION}",
        "is a range. Write the one line that was read.",
    ),
    (
        Reason.TWO_READINGS,
        rf".*?{_FRACTION}.*?[^0-9.,/].*?{_FRACTION}.*",
        "holds two readings. Write one a cell.",
    ),
    (Reason.NEAR, r"[jn] ?\.?[0-9]+(?:\.[0-9])?[+-]?", "is near vision, which is not kept here."),
    (
        Reason.BEHAVIOUR,
        r"csm|f ?& ?f|f/f|fix(?:es)? (?:and|&) follows?|(?:un)?steady.*|e",
        "is how a child looks, not a measured acuity. Note it in the findings.",
    ),
)
_AFTER_READING = (
    (
        Reason.RANGE,
        r"[0-9]*[.,][0-9]+ ?(?:to|-|>) ?[0-9.,]+",
        "is a range. Write the one value that was read.",
    ),
    (Reason.TWO_READINGS, r"[0-9.,]+ +[0-9.,]+", "holds two numbers. Write one a cell."),
    (Reason.SEPARATOR, r"[0-9.,]+ ?[-\\|:] ?[0-9.,]+", "has no slash. Write it as 6/9."),
    (
        Reason.LOOKALIKE,
        r"(?=.*[0-9/])(?=.*[oil])[0-9oil/.,]+",
        "has a letter where a digit should be (O, l, I).",
    ),
)


def is_missing(text: str, codes: frozenset[str] = frozenset()) -> bool:
    """Whether a cell says that nothing was measured, in common words or a column's own codes such as -9."""
    words = plain(text).casefold()
    return words in MISSING_WORDS or words in {plain(code).casefold() for code in codes}


def refuse_what_is_no_reading(words: str) -> None:
    """Raises UnreadableAcuity for blanks, codes, dates, percentages, ranges, two readings and near vision."""
    if words in MISSING_WORDS:
        raise UnreadableAcuity("Nothing was measured. Leave the reading out.", Reason.MISSING)
    _refuse_first(words, _BEFORE_READING)


def unread(words: str) -> UnreadableAcuity:
    """The refusal for a text that no form of acuity fits."""
    try:
        _refuse_first(words, _AFTER_READING)
    except UnreadableAcuity as refusal:
        return refusal
    return UnreadableAcuity(
        f'"{words[:40]}" is not an acuity. Write 6/9, 20/30, logMAR 0.2, 75 letters, CF 1 m, HM, LP or NLP.',
        Reason.UNRECOGNISED,
    )


def _refuse_first(words: str, refusals: tuple[tuple[Reason, str, str], ...]) -> None:
    for reason, pattern, sentence in refusals:
        if re.fullmatch(pattern, words, re.ASCII):
            raise UnreadableAcuity(f'"{words[:40]}" {sentence}', reason)
