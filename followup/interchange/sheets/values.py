"""How a cell becomes a value: each reader takes it with the rule of its column, or raises CellProblem."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from functools import lru_cache
from typing import Any, TypeAlias

from followup.domain.acuity.notation import Acuity, Notation, Reason, UnreadableAcuity
from followup.domain.acuity.parse import read_acuity
from followup.domain.words import DatePrecision, Procedure, Term, YesNo
from followup.interchange.sheets.cells import (
    Cell,
    CellProblem,
    raw_text,
    refuse_lost_digits,
    tidy,
)
from followup.interchange.sheets.dates import DateOrder, Unit, days_after, from_serial, read_date
from followup.interchange.sheets.synonyms import BOTH_SIDES, SIDES, words_for
from followup.interchange.sheets.workbook import without_time


@dataclass(frozen=True, slots=True)
class CellRule:
    """What the map says of one column. codes: what a text of the file stands for, "" for missing."""

    today: date
    codes: Mapping[str, str] = field(default_factory=dict)
    missing: frozenset[str] = frozenset()
    notation: Notation | None = None
    date_order: DateOrder | None = None
    unit: Unit = "days"
    partial_dates: bool = False


Fields: TypeAlias = dict[str, Any]
"""Values by the field they belong to."""
Reader: TypeAlias = Callable[[Cell, CellRule], Fields]

_LOOKALIKE = re.compile(r"(?=.*[0-9])(?=.*[OoIl])[0-9OoIl]+")
_WHOLE = re.compile(r"[0-9]{1,6}(?:[.,]0+)?")
_DECIMAL = re.compile(r"[0-9]{1,3}(?:[.,][0-9]{1,15})?")
_PRESSURE_WORDS = frozenset(("soft", "firm", "hard", "normal", "n", "low", "high"))
# An import fills in what is not known and never takes back what is.
_NOTHING_SAID = frozenset(("unknown", "not_examined"))
_EMAIL = re.compile(r"[^@\s,;]+@[^@\s,;]+\.[^@\s,;]+")
_BETWEEN = re.compile(r"[,;+&/]|\band\b|\bund\b|\bet\b|\by\b")
MOST_PRESSURE = 80


def record_number(cell: Cell, rule: CellRule) -> Fields:
    text = tidy(cell)
    refuse_lost_digits(text)
    if _LOOKALIKE.fullmatch(text):
        raise CellProblem(
            f'"{text}" has a letter where a digit may be meant (O, l, I). Check the record number.'
        )
    if len(text) > 40:
        raise CellProblem(f"A record number has at most 40 characters, this has {len(text)}.", "refused")
    return {"record_number": text}


def text_of(name: str, longest: int) -> Reader:
    """Text as typed, up to `longest` characters."""

    def read(cell: Cell, rule: CellRule) -> Fields:
        text = " ".join(raw_text(cell).split())
        if len(text) > longest:
            raise CellProblem(f"At most {longest} characters are kept, this has {len(text)}.")
        return {name: text}

    return read


def full_name(cell: Cell, rule: CellRule) -> Fields:
    """A name in one cell is parted at a comma, and otherwise kept whole."""
    family, comma, given = " ".join(raw_text(cell).split()).partition(",")
    if max(len(family), len(given)) > 80:
        raise CellProblem("A name has at most 80 characters.")
    return {"family_name": family.strip(), **({"given_name": given.strip()} if comma else {})}


def email(cell: Cell, rule: CellRule) -> Fields:
    text = tidy(cell)
    if not _EMAIL.fullmatch(text) or len(text) > 254:
        raise CellProblem(f'"{text}" is not one e-mail address.')
    return {"email": text}


def phone(cell: Cell, rule: CellRule) -> Fields:
    text = tidy(cell)
    refuse_lost_digits(text)
    if len(text) > 60:
        raise CellProblem("A telephone number has at most 60 characters.")
    return {"phone": text}


def birth_date(cell: Cell, rule: CellRule) -> Fields:
    found = read_date(cell, rule.date_order, born=True, today=rule.today)
    if found.whole is None:
        raise CellProblem(f'"{found}" is not a whole birth date. Leave it out or complete it.')
    if found.whole > rule.today:
        raise CellProblem(f"Born on {found}, which is in the future.", "refused")
    return {"birth_date": found.whole}


def operation_date(cell: Cell, rule: CellRule) -> Fields:
    found = read_date(cell, rule.date_order, born=False, today=rule.today)
    precision = DatePrecision.DAY
    if found.whole is None:
        if not rule.partial_dates:
            raise CellProblem(
                f'"{found}" is not a whole date. Complete it, or let the map take partly known dates.'
            )
        precision = DatePrecision.MONTH if found.month else DatePrecision.YEAR
    return {"date": found.earliest, "date_precision": precision}


def visit_date(cell: Cell, rule: CellRule) -> Fields:
    found = read_date(cell, rule.date_order, born=False, today=rule.today)
    if found.whole is None:
        raise CellProblem(f'"{found}" is not a whole date. A visit has a day.')
    return {"day": found.whole}


def visit_offset(cell: Cell, rule: CellRule) -> Fields:
    return {"offset": days_after(cell, rule.unit)}


def side(cell: Cell, rule: CellRule) -> Fields:
    text = tidy(cell).casefold()
    if text in BOTH_SIDES:
        raise CellProblem(f'"{text}" means both eyes. Write a row for each eye.')
    if text in SIDES:
        return {"side": SIDES[text]}
    if text.isdigit():
        raise CellProblem(f'"{text}" is a code for a side. Say in the map which side it means.')
    raise CellProblem(f'"{text}" does not tell right from left. Write R or L.')


def term(name: str, kind: type[Term]) -> Reader:
    """One word of a coded list, by its code, its label or another word for it."""
    words = words_for(kind)

    def read(cell: Cell, rule: CellRule) -> Fields:
        found = kind(_known(tidy(cell), words, kind))
        return {} if found.value in _NOTHING_SAID else {name: found}

    return read


def terms(name: str, kind: type[Term]) -> Reader:
    """Several words of a coded list in one cell."""
    words = words_for(kind)

    def read(cell: Cell, rule: CellRule) -> Fields:
        text = tidy(cell)
        parts = [text] if text.casefold() in words else [part.strip() for part in _BETWEEN.split(text)]
        return {name: frozenset(kind(_known(part, words, kind)) for part in parts if part)}

    return read


def _known(text: str, words: Mapping[str, str], kind: type[Term]) -> str:
    found = words.get(text.casefold())
    if found:
        return found
    if "?" in text:
        raise CellProblem(f'"{text}" is marked as unsure. Ask whoever wrote it.')
    expected = ", ".join(kind.codes())
    raise CellProblem(
        f'"{text}" is not known here. Give it a meaning in the map, one of: {expected}.', "refused"
    )


def yes(name: str) -> Reader:
    """Yes or no as a truth value; "not recorded" leaves it as it is."""
    words = words_for(YesNo)

    def read(cell: Cell, rule: CellRule) -> Fields:
        found = YesNo(_known(tidy(cell), words, YesNo))
        return {} if found is YesNo.UNKNOWN else {name: found is YesNo.YES}

    return read


def whole_number(name: str, lowest: int, highest: int, unit: str) -> Reader:
    def read(cell: Cell, rule: CellRule) -> Fields:
        text = tidy(cell).removesuffix("%").strip()
        if not _WHOLE.fullmatch(text):
            raise CellProblem(f'"{text}" is not a whole number of {unit}.')
        number = int(Decimal(text.replace(",", ".")))
        if not lowest <= number <= highest:
            raise CellProblem(f"{number} {unit} is not between {lowest} and {highest}.")
        return {name: number}

    return read


def axial_length(cell: Cell, rule: CellRule) -> Fields:
    text = tidy(cell).casefold().removesuffix("mm").strip()
    if not _DECIMAL.fullmatch(text):
        raise CellProblem(f'"{text}" is not a length in millimetres.')
    length = Decimal(text.replace(",", ".")).quantize(Decimal("0.01"), ROUND_HALF_UP)
    if not 15 <= length <= 40:
        raise CellProblem(f"An axial length of {length} mm is not between 15 and 40.")
    return {"axial_length_mm": length}


def pressure(cell: Cell, rule: CellRule) -> Fields:
    """Whole mmHg, or one of the words used at the bedside. Nought may mean soft or not measured: asked."""
    text = tidy(cell).casefold().removesuffix("mmhg").strip()
    if text in _PRESSURE_WORDS:
        return {"pressure_mmhg": None, "pressure_text": text}
    if not _WHOLE.fullmatch(text):
        raise CellProblem(f'"{text}" is not a pressure. Write whole mmHg, or soft, firm, hard, normal.')
    found = int(Decimal(text.replace(",", ".")))
    if not 0 < found <= MOST_PRESSURE:
        raise CellProblem(
            f"A pressure of {found} mmHg is not between 1 and {MOST_PRESSURE}. Was it measured?"
        )
    return {"pressure_mmhg": found, "pressure_text": ""}


def acuity(cell: Cell, rule: CellRule) -> Fields:
    if not isinstance(cell, str):
        day = without_time(cell)
        raise CellProblem(
            f"{day} is a date; a spreadsheet makes one of {_fraction_from(day)}. Type it as text."
        )
    text = tidy(cell)
    if re.fullmatch(r"[1-6][0-9]{4}", text):
        day = from_serial(int(text))
        raise CellProblem(f'"{text}" may be {_fraction_from(day)}, turned into a date. Type it as text.')
    try:
        return {"reading": _acuity(text, rule.notation)}
    except UnreadableAcuity as fault:
        if fault.reason is Reason.MISSING:
            return {}
        raise CellProblem(
            fault.message, "refused" if fault.reason is Reason.MISSING_CODE else "human"
        ) from None


@lru_cache(maxsize=10_000)
def _acuity(text: str, bare: Notation | None) -> Acuity:
    return read_acuity(text, bare=bare)


def _fraction_from(day: date) -> str:
    """6/36 becomes June 1936 where no month has so many days; else month and day are the two parts."""
    if day.day == 1 and day.year < 2000:
        return f"{day.month}/{day.year - 1900}"
    return f"{day.month}/{day.day}"


def procedures(cell: Cell, rule: CellRule) -> Fields:
    """Procedures; one that takes a tamponade out says so for the operation."""
    found = terms("procedures", Procedure)(cell, rule)
    takes_out = {Procedure.OIL_REMOVAL, Procedure.OIL_EXCHANGE} & found["procedures"]
    return {**found, "takes_out": True} if takes_out else found
