"""How sight changed between two readings, where they may be compared at all."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from followup.domain.acuity.convert import LETTER, lines_from_logmar
from followup.domain.acuity.notation import Acuity, Notation
from followup.domain.acuity.order import sight_can_be_asked, sight_order
from followup.domain.acuity.substitution import Substitution

THREE_LINES = Decimal("0.3")
# Half a hundredth, so that values rounded to two places still count as three lines.
TOLERANCE = Decimal("0.005")
_LETTER_CHARTS = frozenset({Notation.LETTERS, Notation.LOGMAR})


class NotCompared(StrEnum):
    """Why two readings have no change between them."""

    OTHER_EYE = "other eye"
    OTHER_CORRECTION = "other correction"
    OTHER_CHART = "other kind of chart"
    TAMPONADE = "gas or oil in the eye"
    BELOW_CHART = "below the chart"
    NO_EYE = "no eye that sees"


class Direction(StrEnum):
    BETTER = "better"
    SAME = "same"
    WORSE = "worse"


@dataclass(frozen=True, slots=True)
class Reading:
    """A reading and what must agree before two are compared.

    eye: whose eye, any key; correction: its state; tamponade_seen: gas or oil in the eye then, or "";
    chart: the kind of chart, or "" to take it from the notation.
    """

    acuity: Acuity
    eye: str
    correction: str
    tamponade_seen: str = ""
    chart: str = ""

    @property
    def chart_family(self) -> str:
        if self.chart or self.acuity.notation is Notation.CATEGORY:
            return self.chart
        return "letter chart" if self.acuity.notation in _LETTER_CHARTS else "line chart"


@dataclass(frozen=True, slots=True)
class Change:
    """The outcome of a comparison.

    gain: logMAR before minus after, positive is better, None with a reason; direction: known between
    categories too, None when the readings may not be compared; substituted: the table that gave a number, or
    "".
    """

    gain: Decimal | None = None
    direction: Direction | None = None
    reason: NotCompared | None = None
    substituted: str = ""

    @property
    def lines(self) -> Decimal | None:
        return None if self.gain is None else lines_from_logmar(self.gain)

    @property
    def letters(self) -> Decimal | None:
        return None if self.gain is None else self.gain / LETTER

    @property
    def three_lines_or_more_gained(self) -> bool:
        """False where there is no gain, and for substituted numbers: they are no lines on a chart."""
        return self.gain is not None and not self.substituted and self.gain >= THREE_LINES - TOLERANCE

    @property
    def three_lines_or_more_lost(self) -> bool:
        return self.gain is not None and not self.substituted and -self.gain >= THREE_LINES - TOLERANCE


def change(before: Reading, after: Reading, *, substitution: Substitution | None = None) -> Change:
    """The change between two readings of one eye, seen alike; else a Change that says why there is none."""
    if reason := _not_comparable(before, after):
        return Change(reason=reason)
    direction = _direction(before.acuity, after.acuity)
    first, second = _number(before.acuity, substitution), _number(after.acuity, substitution)
    if first is None or second is None:
        return Change(direction=direction, reason=NotCompared.BELOW_CHART)
    used = substitution and (before.acuity.category or after.acuity.category)
    return Change(first - second, direction, substituted=substitution.label if substitution and used else "")


def _not_comparable(before: Reading, after: Reading) -> NotCompared | None:
    both = (before, after)
    checks = (
        (NotCompared.OTHER_EYE, before.eye != after.eye),
        (NotCompared.NO_EYE, not all(sight_can_be_asked(reading.acuity) for reading in both)),
        (NotCompared.TAMPONADE, any(reading.tamponade_seen for reading in both)),
        (NotCompared.OTHER_CORRECTION, before.correction != after.correction),
        (NotCompared.OTHER_CHART, len({family for r in both if (family := r.chart_family)}) > 1),
    )
    return next((reason for reason, holds in checks if holds), None)


def _direction(before: Acuity, after: Acuity) -> Direction:
    first, second = sight_order(before), sight_order(after)
    if first == second:
        return Direction.SAME
    return Direction.BETTER if second > first else Direction.WORSE


def _number(acuity: Acuity, substitution: Substitution | None) -> Decimal | None:
    if acuity.logmar is not None:
        return acuity.logmar
    return substitution.value_for(acuity) if substitution else None
