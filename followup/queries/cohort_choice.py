"""What an auditor asks: which eyes, which clock, which event, as known on which day.

A choice is an address: `query` writes it as the part after the question mark, the form of the audit page
reads it back, so a cohort can be sent to a colleague or kept as a bookmark and means the same there.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from math import floor
from urllib.parse import urlencode

from followup.domain.errors import BadValue
from followup.domain.words import (
    Clock,
    Extent,
    Indication,
    Procedure,
    RecurrenceEvent,
    Repeat,
    Tamponade,
    Term,
    YesNo,
)

DAYS_A_MONTH = 30.4375
"""The mean month of the Gregorian leap-year cycle of four years: 365.25 / 12."""

LONGEST_HORIZON = 360
"""Months: thirty years."""

MARKS = (6, 12, 24, 36, 48, 60, 84, 120, 180, 240, 300)
"""Months at which the curve is read and the eyes at risk are counted, as far as the horizon."""


class TamponadeGroup(Term):
    """Several agents asked for together."""

    ANY_GAS = "any_gas", "Any gas"
    ANY_OIL = "any_oil", "Any silicone oil"


class BuckleChoice(Term):
    """Whether the index operation placed a buckle."""

    SCLERAL = "scleral", "With a scleral buckle"
    MACULAR = "macular", "With a macular buckle"
    WITHOUT = "without", "Without a buckle"


class Errors(Term):
    """How the limits are worked out."""

    PATIENTS = "patients", "Eyes of one patient together (robust)"
    EYES = "eyes", "Each eye on its own (Greenwood)"


class Unit(Term):
    """Which eyes of a person count."""

    ALL = "all", "All eyes"
    FIRST = "first", "One eye a patient: the one operated on first, of two on one day the right"


class Stratum(Term):
    """What the eyes are told apart by: each can also be asked for alone."""

    SITE = "site", "Clinic"
    SURGEON = "surgeon", "Surgeon"
    YEAR = "year", "Year of the index operation"
    INDICATION = "indication", "Indication"
    PROCEDURE = "procedure", "Procedures"
    TAMPONADE = "tamponade", "Tamponade"
    AXIAL_LENGTH = "axial_length", "Axial length"
    STAPHYLOMA = "staphyloma", "Staphyloma"
    EXTENT = "extent", "Extent of detachment"
    BUCKLE = "buckle", "Buckle"
    ONLY_EYE = "only_eye", "Only eye"
    REPEAT = "repeat", "First or repeat"


@dataclass(frozen=True, slots=True)
class CohortChoice:
    """A cohort and how to look at it. None, and an empty tuple, leave the question open."""

    site_id: int
    lock: date
    """Data lock: nothing dated later is looked at."""
    operated_from: date | None = None
    operated_to: date | None = None
    indications: tuple[Indication, ...] = ()
    procedures: tuple[Procedure, ...] = ()
    """All of these done at the index operation."""
    tamponade: Tamponade | TamponadeGroup | None = None
    """What the index operation left in the eye."""
    surgeon: str = ""
    """As `surgeons_at` gives it."""
    repeat: Repeat | None = None
    buckle: BuckleChoice | None = None
    extent: Extent | None = None
    only_eye: bool | None = None
    staphyloma: YesNo | None = None
    axial_length_from: Decimal | None = None
    """Millimetres, that length included."""
    axial_length_below: Decimal | None = None
    """Millimetres, that length not included."""
    other_sites: tuple[int, ...] = ()
    """Further clinics counted together with the first."""
    unit: Unit = Unit.ALL
    strata: Stratum | None = None
    clock: Clock = Clock.INDEX
    event: RecurrenceEvent = RecurrenceEvent.REDETACHMENT
    horizon: int = 24
    """Months."""
    errors: Errors = Errors.PATIENTS

    def __post_init__(self) -> None:
        first, last = self.operated_from, self.operated_to
        if first and last and first > last:
            raise BadValue(
                f"Operated from {first} to {last}: the first day must not be after the last. Swap them?",
                field="operated_to",
            )
        least, below = self.axial_length_from, self.axial_length_below
        if least is not None and below is not None and least >= below:
            raise BadValue(
                f"Axial length from {least} to below {below} mm: no eye can be both. Swap them?",
                field="axial_length_below",
            )
        if not 1 <= self.horizon <= LONGEST_HORIZON:
            raise BadValue(
                f"The horizon is {self.horizon} months: expected 1 to {LONGEST_HORIZON}.", field="horizon"
            )

    @property
    def site_ids(self) -> tuple[int, ...]:
        return (self.site_id, *(other for other in self.other_sites if other != self.site_id))

    @property
    def asks_length(self) -> bool:
        return self.axial_length_from is not None or self.axial_length_below is not None

    @property
    def marks(self) -> tuple[int, ...]:
        """Months at which figures are given; the horizon is the last."""
        return (*(month for month in MARKS if month < self.horizon), self.horizon)

    @property
    def horizon_days(self) -> int:
        return days_of_months(self.horizon)

    def fields(self) -> dict[str, str | list[str]]:
        """The choice by form field; questions left open are left out."""
        asked: dict[str, object] = {
            "site": self.site_id,
            "also": [str(site) for site in self.other_sites],
            "operated_from": self.operated_from,
            "operated_to": self.operated_to,
            "indication": [indication.value for indication in self.indications],
            "procedure": [procedure.value for procedure in self.procedures],
            "tamponade": self.tamponade,
            "surgeon": self.surgeon,
            "repeat": self.repeat,
            "buckle": self.buckle,
            "extent": self.extent,
            "only_eye": {True: "yes", False: "no", None: None}[self.only_eye],
            "staphyloma": self.staphyloma,
            "axial_length_from": self.axial_length_from,
            "axial_length_below": self.axial_length_below,
            "eyes": self.unit,
            "strata": self.strata,
            "clock": self.clock,
            "event": self.event,
            "horizon": self.horizon,
            "limits": self.errors,
            "lock": self.lock,
        }
        return {
            name: value if isinstance(value, list) else str(value)
            for name, value in asked.items()
            if value not in (None, "", [])
        }

    @property
    def query(self) -> str:
        """The part of an address after the question mark."""
        return urlencode(self.fields(), doseq=True)


def days_of_months(months: int) -> int:
    """Whole days in so many mean months, halves up: 183 in 6, 365 in 12, 731 in 24."""
    return floor(months * DAYS_A_MONTH + 0.5)
