"""Numbers as they stand in an acuity, and what each scale accepts."""

from __future__ import annotations

from decimal import Decimal

from followup.domain.acuity.convert import (
    CHART_END,
    HIGHEST_DECIMAL,
    LOWEST_DECIMAL,
    MOST_LETTERS,
    logmar_from_decimal,
    logmar_from_letters,
)
from followup.domain.acuity.notation import Acuity, Notation, Reason, UnreadableAcuity

# Digits with a point or comma, and ".5", but not ",5": a comma in front may belong to the words before it.
# Many places are a spreadsheet's tail.
NUMBER = r"(?:[0-9]{1,3}[.,][0-9]{1,20}|\.[0-9]{1,20}|[0-9]{1,4})"
_LOWEST_LOGMAR = logmar_from_decimal(HIGHEST_DECIMAL)
_HIGHEST_LOGMAR = logmar_from_decimal(LOWEST_DECIMAL)


def to_decimal(written: str) -> Decimal:
    """A number with point or comma. A comma before three digits is refused unless it follows a zero."""
    whole, comma, places = written.partition(",")
    if comma and len(places) > 2 and whole.lstrip("+- ").strip("0"):
        raise UnreadableAcuity(
            f'"{written}" can be a thousand or a fraction. Write it with a point.', Reason.AMBIGUOUS
        )
    return Decimal(written.replace(",", ".").replace(" ", ""))


def read_number(value: Decimal, notation: Notation) -> Acuity:
    """A number on a scale that has been named: decimal, logMAR or letters."""
    if notation is Notation.DECIMAL:
        return _from_decimal(value)
    if notation is Notation.LOGMAR:
        return Acuity("", notation, logmar=within_chart(value), note=note_on(value))
    if notation is Notation.LETTERS:
        return _from_letters(value)
    raise UnreadableAcuity(
        f"A bare number cannot be in the notation {notation}. Choose decimal, logMAR or letters.",
        Reason.AMBIGUOUS,
    )


def within_chart(logmar: Decimal) -> Decimal:
    """The logMAR itself when some chart measures it; else refused."""
    if logmar > _HIGHEST_LOGMAR:
        raise UnreadableAcuity(
            f"logMAR {logmar:.4g} is lower sight than charts measure. If fingers, hand movements or light "
            "were seen, write that.",
            Reason.OUT_OF_RANGE,
        )
    if logmar <= _LOWEST_LOGMAR:
        raise UnreadableAcuity(
            f"logMAR {logmar:.4g} is better sight than charts measure. Check the number and its notation.",
            Reason.OUT_OF_RANGE,
        )
    return logmar


def note_on(logmar: Decimal) -> str:
    return (
        "Past the last line of a letter chart, so no letter count: check that it was measured."
        if logmar > CHART_END
        else ""
    )


def _from_decimal(value: Decimal) -> Acuity:
    if value <= 0:
        raise UnreadableAcuity(
            f"{value} is not a decimal acuity: those are above 0. Only logMAR can be 0 or less; write no "
            "sight as NLP.",
            Reason.OUT_OF_RANGE,
        )
    if value >= HIGHEST_DECIMAL:
        five_score = " It may be a five-score value (5.0 = 6/6)." if value <= Decimal("5.5") else ""
        raise UnreadableAcuity(
            f"{value} is not a decimal acuity: those are below 3.{five_score} Check the notation.",
            Reason.OUT_OF_RANGE,
        )
    logmar = within_chart(logmar_from_decimal(value))
    return Acuity("", Notation.DECIMAL, logmar=logmar, note=note_on(logmar))


def _from_letters(value: Decimal) -> Acuity:
    if value != value.to_integral_value() or not 0 <= value <= MOST_LETTERS:
        raise UnreadableAcuity(
            f"{value} is not a letter score: those are whole numbers from 0 to 100. Check the notation.",
            Reason.OUT_OF_RANGE,
        )
    note = "No letter read: check whether fingers, hand movements or light were seen." if value == 0 else ""
    return Acuity("", Notation.LETTERS, logmar=logmar_from_letters(value), note=note)
