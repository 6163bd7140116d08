"""Bands of vision impairment, per eye. The published categories are per person, both eyes open: not these.

Thresholds: ICD-11 9D90 and ICD-10 H54 (decimal 0.5, 0.3, 0.1, 0.05). Their tables equate 6/18, 0.3, 20/70 and
logMAR 0.5, four different numbers, so a reading is placed inside the notation it was measured in.
"""

from __future__ import annotations

from decimal import Decimal
from enum import StrEnum

from followup.domain.acuity.convert import EXACT, logmar_from_decimal
from followup.domain.acuity.notation import Acuity, Category, Notation

# The log charts print 6/19, 20/63 and 0.32 for the line that other charts print as 6/18, 20/70 and 0.3.
# Common practice, no source.
LINE_PARTNER_TOLERANCE = Decimal("0.005")


class Band(StrEnum):
    NONE = "none"
    MILD = "mild"
    MODERATE = "moderate"
    SEVERE = "severe"
    BLINDNESS = "blindness"
    NO_LIGHT = "no light"


_MILD_REACHES = {
    Notation.SNELLEN_METRE: EXACT.log10(Decimal("3.5")),
    Notation.SNELLEN_FOOT: EXACT.log10(Decimal("3.5")),
    Notation.FRACTION: EXACT.log10(Decimal("3.5")),
    Notation.DECIMAL: logmar_from_decimal(Decimal("0.3")),
    Notation.LOGMAR: Decimal("0.5"),
    Notation.LETTERS: Decimal("0.5"),
}
_NONE_REACHES = logmar_from_decimal(Decimal("0.5"))
_MODERATE_REACHES = logmar_from_decimal(Decimal("0.1"))
_SEVERE_REACHES = logmar_from_decimal(Decimal("0.05"))


def band(acuity: Acuity) -> Band | None:
    """The band of one eye's reading; None for an eye that cannot see for another reason than blindness."""
    if acuity.logmar is None:
        return _below_chart(acuity.category)
    limits = (
        (Band.NONE, _NONE_REACHES),
        (Band.MILD, _MILD_REACHES[acuity.notation]),
        (Band.MODERATE, _MODERATE_REACHES),
        (Band.SEVERE, _SEVERE_REACHES),
    )
    reached = (name for name, limit in limits if acuity.logmar <= limit + LINE_PARTNER_TOLERANCE)
    return next(reached, Band.BLINDNESS)


def _below_chart(category: Category | None) -> Band | None:
    if category is Category.NO_LIGHT_PERCEPTION:
        return Band.NO_LIGHT
    seen = (Category.COUNTING_FINGERS, Category.HAND_MOVEMENTS, Category.LIGHT_PERCEPTION)
    return Band.BLINDNESS if category in seen else None
