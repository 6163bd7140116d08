"""Proposes which column is what; whatever headings and contents do not settle is asked, never guessed."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

from followup.domain.words import Side, Term
from followup.interchange.sheets.cells import MISSING_WORDS, Cell, tidy
from followup.interchange.sheets.column_map import ColumnUse
from followup.interchange.sheets.columns import OF_A_VISIT, Column, Subject
from followup.interchange.sheets.dates import fractions_behind
from followup.interchange.sheets.headings import KNOWN, plain_heading
from followup.interchange.sheets.orders import DATES, date_order, orders_in
from followup.interchange.sheets.read import Sheet
from followup.interchange.sheets.synonyms import BOTH_SIDES, SIDES, words_for

SAMPLE_ROWS = 500
MOST_CODES = 12
_UNITS = {
    "D": "d|day|days|tag|tage|jour|jours|día|días|dia|dias",
    "W": "w|wk|week|weeks|woche|wochen|semaine|semaines|semana|semanas",
    "M": "m|mo|mth|month|months|monat|monate|mois|mes|meses",
    "Y": "y|yr|year|years|jahr|jahre|an|ans|año|años",
}
_UNIT_OF = {word: unit for unit, words in _UNITS.items() for word in words.split("|")}
_AFTER = re.compile(rf"(?P<stem>.+?) ?(?P<number>[0-9]{{1,3}}) ?(?P<unit>{'|'.join(_UNIT_OF)})")
_BEFORE = re.compile(r"(?P<stem>.+) (?:baseline|pre ?op|preoperative|before|präop|vorher|avant|antes)")
_SIDED = re.compile(r"(?P<stem>.+) (?P<side>r|re|od|right|l|le|os|left|ra|la)")
_NUMBER = re.compile(r"-?[0-9]+(?:[.,][0-9]+)?")
_MISSING_CODE = re.compile(r"-[0-9]{1,4}|9{2,5}")


@dataclass(frozen=True, slots=True)
class Question:
    """Something a person must say of a column. asks: "notation", "date_order", "codes", "unit", "at",
    "missing" or "recovered".

    found: texts of the column that raise it; choices: code and label of the possible answers.
    """

    column: str
    target: str
    asks: str
    text: str
    found: tuple[str, ...] = ()
    choices: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Proposal:
    """shape: as in ColumnMap; unknown: headings that nothing is known by."""

    shape: str
    uses: tuple[ColumnUse, ...]
    unknown: tuple[str, ...]
    questions: tuple[Question, ...]


def recognise(sheet: Sheet) -> Proposal:
    """The likeliest reading of a sheet, from its headings in five languages and its first 500 rows."""
    rows = list(islice((row.cells for row in sheet.rows if not row.ignored), SAMPLE_ROWS))
    uses: dict[str, ColumnUse] = {}
    taken: set[tuple[object, ...]] = set()
    for heading in sheet.headers:
        use = _use(heading)
        if use and (use.catalogued.many or (use.target, use.at, use.side) not in taken):
            taken.add((use.target, use.at, use.side))
            uses[heading] = use
    settled: list[ColumnUse] = []
    questions: list[Question] = []
    shape = _shape(uses.values())
    for heading, use in uses.items():
        texts = _texts(rows, sheet.headers.index(heading))
        settled.append(_settled(use, texts))
        questions.extend(_questions(settled[-1], texts))
        if shape == "timepoints" and use.catalogued.subject in OF_A_VISIT and not use.at:
            questions.append(_ask(use, "at", "How long after the operation was this found?", texts, ()))
    unknown = tuple(heading for heading in sheet.headers if heading not in uses)
    return Proposal(shape, tuple(settled), unknown, tuple(questions))


def _shape(uses: Collection[ColumnUse]) -> str:
    if any(use.at for use in uses):
        return "timepoints"
    return "visits" if any(use.catalogued.subject is Subject.VISIT for use in uses) else "operations"


def _texts(rows: Iterable[Sequence[Cell]], place: int) -> list[str]:
    texts = (tidy(row[place]) for row in rows if place < len(row))
    return [text for text in texts if text and text.casefold() not in MISSING_WORDS]


# Headings


def _use(heading: str) -> ColumnUse | None:
    plain = plain_heading(heading)
    if plain in KNOWN:
        return _named(heading, KNOWN[plain])
    if (found := _BEFORE.fullmatch(plain)) and _is_finding(found["stem"]):
        return _named(heading, KNOWN[found["stem"]], at="P0D")
    if (found := _AFTER.fullmatch(plain)) and _is_finding(found["stem"]):
        at = f"P{int(found['number'])}{_UNIT_OF[found['unit']]}"
        return _named(heading, KNOWN[found["stem"]], at=at)
    if (found := _SIDED.fullmatch(plain)) and _is_finding(found["stem"]):
        return _named(heading, KNOWN[found["stem"]], side=Side(SIDES[found["side"]]))
    return None


def _is_finding(stem: str) -> bool:
    return stem in KNOWN and KNOWN[stem].subject in (Subject.EXAM, Subject.ACUITY)


def _named(heading: str, column: Column, *, at: str = "", side: Side | None = None) -> ColumnUse:
    """A use, with the notation or unit that the heading itself names."""
    plain = heading.casefold()
    notation = next((name for word, name in _NOTATIONS.items() if word in plain), None)
    unit = next((unit for word, unit in _INTERVALS.items() if word in plain), None)
    return ColumnUse.model_validate(
        {
            "column": heading,
            "target": column.name,
            "at": at,
            "side": side,
            "notation": notation if column.subject is Subject.ACUITY else None,
            # What nobody has named yet is asked; until then the plain number is shown as days.
            "unit": unit or "days" if column.name == "visit_offset" else None,
        }
    )


_NOTATIONS = {"logmar": "logmar", "etdrs": "letters", "letter": "letters", "decimal": "decimal"}
_INTERVALS = {
    "day": "days",
    "tag": "days",
    "jour": "days",
    "día": "days",
    "week": "weeks",
    "woche": "weeks",
    "semaine": "weeks",
    "semana": "weeks",
    "month": "months",
    "monat": "months",
    "mois": "months",
    "mes": "months",
}


# Contents


def _settled(use: ColumnUse, texts: list[str]) -> ColumnUse:
    if use.target in DATES:
        return use.model_copy(update={"date_order": date_order(texts)})
    return use


def _questions(use: ColumnUse, texts: list[str]) -> Iterator[Question]:
    column = use.catalogued
    if use.target in DATES and use.date_order is None and (orders := orders_in(texts)):
        asked = _BOTH_ORDERS if orders == (True, True) else _ONE_ORDER
        yield _ask(use, "date_order", asked, texts, _ORDERS)
    if use.target == "acuity":
        yield from _about_dates(use, texts)
    bare = [text for text in texts if _NUMBER.fullmatch(text) and not fractions_behind(text, None)]
    if use.target == "acuity" and bare and use.notation is None:
        yield _ask(use, "notation", "What is a number alone in this column?", bare, _SCALES)
    if use.target == "visit_offset" and not any(word in use.column.casefold() for word in _NAMED_UNITS):
        yield _ask(use, "unit", "Is this days, weeks or months after the operation?", texts, _SPANS)
    if column.kind and (unknown := _unknown_codes(column.kind, texts)) and not column.many:
        choices = tuple(column.kind.choices())
        yield _ask(use, "codes", "What do these stand for in this column?", unknown, choices)
    elif not column.keeps_words and (codes := _missing_codes(texts)) and use.target != "record_number":
        yield _ask(use, "missing", "Do these mean that nothing is known?", codes, ())


def _about_dates(use: ColumnUse, texts: list[str]) -> Iterator[Question]:
    """A spreadsheet made dates of fractions: which, and, where a date can be two, how did it write them?"""
    behind = {text: found for text in texts if (found := fractions_behind(text, use.date_order))}
    if not behind:
        return
    shown = [f"{text} may be {' or '.join(found)}" for text, found in behind.items()]
    yield _ask(use, "recovered", "A spreadsheet made dates of fractions. Is each what it may be?", shown, ())
    if any(len(found) > 1 for found in behind.values()):
        yield _ask(use, "date_order", "How did that spreadsheet write its dates?", shown, _ORDERS)


_ONE_ORDER = "Does this column write the day or the month first?"
_BOTH_ORDERS = (
    "Some dates are day first and some month first: those that fit both are left to a person. Which is usual?"
)
_ORDERS = (("day_first", "Day first: 06/09 is 6 September"), ("month_first", "Month first: 06/09 is 9 June"))
_SCALES = (
    ("decimal", "Decimal (1.0 is 6/6)"),
    ("logmar", "logMAR (0.0 is 6/6)"),
    ("letters", "ETDRS letters"),
)
_SPANS = (("days", "Days"), ("weeks", "Weeks"), ("months", "Months of 30.4375 days"))
_NAMED_UNITS = ("day", "week", "month", "tag", "woche", "monat", "jour", "semaine", "mois", "día", "mes")


def _ask(
    use: ColumnUse, asks: str, text: str, found: Iterable[str], choices: tuple[tuple[str, str], ...]
) -> Question:
    shown = tuple(dict.fromkeys(found))[:MOST_CODES]
    return Question(use.column, use.target, asks, text, shown, choices)


def _unknown_codes(kind: type[Term], texts: list[str]) -> list[str]:
    known = {*words_for(kind), *BOTH_SIDES}
    return sorted({text for text in texts if text.casefold() not in known})


def _missing_codes(texts: list[str]) -> list[str]:
    """Negative whole numbers and runs of nines in a column of numbers."""
    numbers = [text for text in texts if _NUMBER.fullmatch(text)]
    if len(numbers) * 2 < len(texts):
        return []
    found = {text for text in numbers if _MISSING_CODE.fullmatch(text)}
    return sorted(found) if len(found) <= 2 else []
