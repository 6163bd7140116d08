"""How a cell becomes a value: each reader takes it with the rule of its column, or raises CellProblem."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from functools import lru_cache
from typing import Any, TypeAlias

from followup.domain.acuity.notation import Acuity, Notation, Reason, UnreadableAcuity
from followup.domain.acuity.parse import read_acuity
from followup.domain.dates.zones import zone
from followup.domain.errors import BadValue
from followup.domain.words import DatePrecision, Procedure, Term, YesNo
from followup.interchange.sheets.cells import (
    Cell,
    CellProblem,
    raw_text,
    refuse_lost_digits,
    tidy,
)
from followup.interchange.sheets.dates import DateStyle, Unit, days_after, fractions_behind, read_date
from followup.interchange.sheets.synonyms import BOTH_SIDES, SIDES, words_for


@dataclass(frozen=True, slots=True)
class CellRule:
    """What the map says of one column. codes: what a text of the file stands for, "" for missing."""

    today: date
    codes: Mapping[str, str] = field(default_factory=dict)
    missing: frozenset[str] = frozenset()
    notation: Notation | None = None
    dates: DateStyle = field(default_factory=DateStyle)
    unit: Unit = "days"
    partial_dates: bool = False
    recovered: bool = False
    approximate: bool = False
    calling_code: str = ""


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
BOTH = "both"
"""What a cell says that names both eyes; the row then stands for two."""


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


def lines_of(name: str, longest: int) -> Reader:
    """Text as typed with its line breaks, up to `longest` characters."""

    def read(cell: Cell, rule: CellRule) -> Fields:
        text = "\n".join(" ".join(line.split()) for line in raw_text(cell).strip().splitlines())
        if len(text) > longest:
            raise CellProblem(f"At most {longest} characters are kept, this has {len(text)}.")
        return {name: text}

    return read


def time_zone(cell: Cell, rule: CellRule) -> Fields:
    text = tidy(cell)
    try:
        zone(text)
    except BadValue as fault:
        raise CellProblem(fault.message) from None
    return {"time_zone": text}


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
    """The first number of the cell; whatever else stands there is kept as a note on how to reach the person.

    With the calling code of the country, a number becomes international (ITU-T E.164: at most 15 digits).
    """
    text = tidy(cell)
    refuse_lost_digits(text)
    numbers = [found.strip() for found in _TELEPHONE.findall(text)]
    if not numbers:
        raise CellProblem(f'"{text}" holds no telephone number. Leave it out or correct it.')
    found = _international(numbers[0], rule.calling_code)
    rest = {} if numbers[0] == text else {"contact_note": f"Telephone as written: {text[:200]}"}
    return {"phone": found, **rest}


_TELEPHONE = re.compile(r"\+?[0-9(][0-9 ().\-]{3,}[0-9]")


def _international(number: str, calling_code: str) -> str:
    digits = re.sub(r"[^0-9]", "", number.replace("(0)", ""))
    if number.startswith("+") or digits.startswith("00"):
        found = f"+{digits.removeprefix('00')}"
    elif calling_code:
        found = f"+{calling_code}{digits.removeprefix('0')}"
    else:
        return number[:60]
    if not re.fullmatch(r"\+[1-9][0-9]{6,14}", found):
        raise CellProblem(f'"{number}" is not a whole telephone number: {found} has {len(found) - 1} digits.')
    return found


def birth_date(cell: Cell, rule: CellRule) -> Fields:
    found = read_date(cell, rule.dates, born=True, today=rule.today)
    if found.whole is None:
        raise CellProblem(f'"{found}" is not a whole birth date. Leave it out or complete it.')
    if found.whole > rule.today:
        raise CellProblem(f"Born on {found}, which is in the future.", "refused")
    return {"birth_date": found.whole}


def operation_date(cell: Cell, rule: CellRule) -> Fields:
    found = read_date(cell, rule.dates, born=False, today=rule.today)
    precision = DatePrecision.DAY
    if found.whole is None:
        if not rule.partial_dates:
            raise CellProblem(
                f'"{found}" is not a whole date. Complete it, or let the map take partly known dates.'
            )
        precision = DatePrecision.MONTH if found.month else DatePrecision.YEAR
    return {"date": found.earliest, "date_precision": precision}


def visit_date(cell: Cell, rule: CellRule) -> Fields:
    found = read_date(cell, rule.dates, born=False, today=rule.today)
    if found.whole is None:
        raise CellProblem(f'"{found}" is not a whole date. A visit has a day.')
    return {"day": found.whole}


def visit_offset(cell: Cell, rule: CellRule) -> Fields:
    return {"offset": days_after(cell, rule.unit)}


def side(cell: Cell, rule: CellRule) -> Fields:
    text = tidy(cell).casefold()
    if text in BOTH_SIDES:
        return {"side": BOTH}
    if text in SIDES:
        return {"side": SIDES[text]}
    if text.isdigit():
        raise CellProblem(f'"{text}" is a code for a side. Say in the map which side it means.')
    named = sorted({SIDES[word] for word in re.findall(r"[^\W\d_]+", text) if word in SIDES}, reverse=True)
    if len(named) > 1:
        raise CellProblem(f'"{text}" names both sides. Write R or L, or a row for each eye.')
    if named and "?" not in text:
        raise CellProblem(f'"{text}" seems to mean the {named[0]} eye. Write R or L if that is so.')
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
    seems = _named_in(text, words)
    if seems:
        raise CellProblem(f'"{text}" seems to say {", ".join(seems)}. Write each in words of the list.')
    expected = ", ".join(kind.codes())
    raise CellProblem(
        f'"{text}" is not known here. Give it a meaning in the map, one of: {expected}.', "refused"
    )


def _named_in(text: str, words: Mapping[str, str]) -> list[str]:
    """Codes that single words of a longer text stand for; one letter says too little."""
    parts = re.findall(r"[^\W_]{2,}", text.casefold())
    return sorted({words[part] for part in parts if part in words}) if len(parts) > 1 else []


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
    if re.fullmatch(r"[0-9]{1,2} ?[/|] ?[0-9]{1,2}", text):
        raise CellProblem(f'"{text}" may be the right and the left eye, or two readings. Write one a cell.')
    if not _WHOLE.fullmatch(text):
        raise CellProblem(f'"{text}" is not a pressure. Write whole mmHg, or soft, firm, hard, normal.')
    found = int(Decimal(text.replace(",", ".")))
    if not 0 < found <= MOST_PRESSURE:
        raise CellProblem(
            f"A pressure of {found} mmHg is not between 1 and {MOST_PRESSURE}. Was it measured?"
        )
    return {"pressure_mmhg": found, "pressure_text": ""}


def acuity(cell: Cell, rule: CellRule) -> Fields:
    if behind := fractions_behind(cell, rule.dates.order, dates_1904=rule.dates.dates_1904):
        return {"reading": _recovered(cell, behind, rule)}
    if not isinstance(cell, str):
        raise CellProblem(f"{raw_text(cell)} is a date, not an acuity. Type what was read, as text.")
    try:
        reading = _acuity(tidy(cell), rule.notation)
    except UnreadableAcuity as fault:
        if fault.reason is Reason.MISSING:
            return {}
        raise CellProblem(
            fault.message, "refused" if fault.reason is Reason.MISSING_CODE else "human"
        ) from None
    return {"reading": replace(reading, approximate=True) if rule.approximate else reading}


def _recovered(cell: Cell, behind: list[str], rule: CellRule) -> Acuity:
    """The one fraction of which a spreadsheet made a date, where a person said so of the column."""
    date = raw_text(cell)
    if rule.recovered and len(behind) == 1:
        note = (
            f'Recovered: a spreadsheet had made the date "{date}" of {behind[0]}, as was said of the column.'
        )
        return replace(_acuity(behind[0], rule.notation), approximate=True, note=note)
    raise CellProblem(
        f'"{date}" may be {" or ".join(behind)}, of which a spreadsheet made a date. Type what was read, as '
        "text, or say of the whole column that its dates are such fractions."
    )


@lru_cache(maxsize=10_000)
def _acuity(text: str, bare: Notation | None) -> Acuity:
    reading = read_acuity(text, bare=bare)
    if reading.notation is Notation.DECIMAL and (line := _CALCULATED.get(text.replace(",", ".")[:6])):
        return replace(reading, note=f"A spreadsheet makes {text} of {line}; it was taken as a decimal.")
    return reading


# Lines of a metre chart of which a calculation leaves three decimals or more.
_CALCULATED = {
    f"{6 / float(letter):.{digits}f}": f"6/{letter}"
    for letter in ("7", "9", "9.5", "18", "19", "36", "38")
    for digits in (3, 4)
}


def procedures(cell: Cell, rule: CellRule) -> Fields:
    """Procedures; one that takes a tamponade out says so for the operation."""
    found = terms("procedures", Procedure)(cell, rule)
    takes_out = {Procedure.OIL_REMOVAL, Procedure.OIL_EXCHANGE} & found["procedures"]
    return {**found, "takes_out": True} if takes_out else found
