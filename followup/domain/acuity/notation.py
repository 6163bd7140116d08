"""An acuity reading and the ways in which it is written."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from followup.domain.acuity.convert import decimal_from_logmar, four_places, letters_from_logmar
from followup.domain.errors import BadValue
from followup.domain.words import Correction

FOOT = Decimal("0.3048")


class Notation(StrEnum):
    """How a reading was written. FRACTION is one whose chart is not told by its numerator, such as 8/10."""

    SNELLEN_METRE = "snellen_metre"
    SNELLEN_FOOT = "snellen_foot"
    FRACTION = "fraction"
    DECIMAL = "decimal"
    LOGMAR = "logmar"
    LETTERS = "letters"
    CATEGORY = "category"


class Category(StrEnum):
    """What is written when no chart can be read, and states in which sight cannot be asked for."""

    COUNTING_FINGERS = "counting_fingers"
    HAND_MOVEMENTS = "hand_movements"
    LIGHT_PERCEPTION = "light_perception"
    NO_LIGHT_PERCEPTION = "no_light_perception"
    PROSTHESIS = "prosthesis"
    PHTHISIS = "phthisis"
    ENUCLEATED = "enucleated"


class Reason(StrEnum):
    """Why a text was not taken as a reading; stable words for importers and tests."""

    AMBIGUOUS = "ambiguous"
    OUT_OF_RANGE = "out_of_range"
    REVERSED = "reversed"
    PARTIAL = "partial"
    DISTANCE = "distance"
    TWO_READINGS = "two_readings"
    RANGE = "range"
    DATE = "date"
    PERCENT = "percent"
    SEPARATOR = "separator"
    LOOKALIKE = "lookalike"
    MISSING = "missing"
    MISSING_CODE = "missing_code"
    MAYBE_MISSING = "maybe_missing"
    NO_IMPROVEMENT = "no_improvement"
    NEAR = "near"
    BEHAVIOUR = "behaviour"
    UNSURE = "unsure"
    UNRECOGNISED = "unrecognised"


class UnreadableAcuity(BadValue):
    """A text that a person must look at. `reason` says why in a stable word, `message` in a sentence."""

    def __init__(self, message: str, reason: Reason) -> None:
        super().__init__(message, field="acuity", code=reason)
        self.reason = reason


@dataclass(frozen=True, slots=True)
class Distance:
    """A test distance as written; unit is m, cm, ft or in."""

    value: Decimal
    unit: str

    def __str__(self) -> str:
        return f"{self.value.normalize():f} {self.unit}"

    @property
    def metres(self) -> Decimal:
        return self.value * {"m": Decimal(1), "cm": Decimal("0.01"), "ft": FOOT, "in": FOOT / 12}[self.unit]


@dataclass(frozen=True, slots=True)
class Acuity:
    """One reading: either a logMAR or a category, never both.

    logmar: to 28 digits, higher is worse; partial_letters: signed count written beside a line;
    partial_uncounted: a bare +, - or p; approximate: beside a line whose number of letters is not known;
    correction: only what the text itself says; note: what a person should know, or "".
    """

    as_written: str
    notation: Notation
    logmar: Decimal | None = None
    category: Category | None = None
    distance: Distance | None = None
    partial_letters: int | None = None
    partial_uncounted: bool = False
    approximate: bool = False
    correction: Correction | None = None
    note: str = ""

    def __post_init__(self) -> None:
        if (self.logmar is None) == (self.category is None):
            raise BadValue("A reading is either a value on a chart or a category below it.")

    @property
    def logmar_4dp(self) -> Decimal | None:
        """logMAR to the four places that are stored."""
        return None if self.logmar is None else four_places(self.logmar)

    @property
    def decimal(self) -> Decimal | None:
        """Decimal acuity, 1.0 at 6/6; None for a category."""
        return None if self.logmar is None else decimal_from_logmar(self.logmar)

    @property
    def letters(self) -> Decimal | None:
        """Letter score 0 to 100, an estimate unless letters were measured; None below the chart."""
        return None if self.logmar is None else letters_from_logmar(self.logmar)
