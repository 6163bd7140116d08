"""A row of a cohort: one eye on one clock, as known on the lock date, with all that an audit counts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from followup.domain.acuity.change import Reading
from followup.domain.outcome import Ending, FinalState, HoleState
from followup.domain.words import (
    DatePrecision,
    Extent,
    Indication,
    Lens,
    Procedure,
    Repeat,
    Retina,
    Sex,
    Side,
    Tamponade,
    YesNo,
)


@dataclass(frozen=True, slots=True)
class Traits:
    """What the eye and its owner brought to the index operation."""

    sex: Sex
    side: Side
    age: int | None
    """Whole years on the day of the index operation."""
    axial_length_mm: float | None
    staphyloma: YesNo
    only_eye: bool
    macula: Retina
    """The retina when last seen before the operation, that morning included."""
    lens: Lens
    """Likewise."""


@dataclass(frozen=True, slots=True)
class OilStay:
    """The first stay of oil in the eye from the index operation on; an exchange does not end it."""

    placed_on: date
    limit: date
    """The day on which its removal window closes."""
    out_on: date | None
    seen_until: date
    """Still in: the last day somebody looked at the eye."""
    after: Ending | None
    """Once out for good: whether a redetachment followed; NEVER_STARTED where it was detached by then."""
    after_days: int | None
    kept: bool = False
    """A decision to keep the oil was in force on the day of the limit."""

    @property
    def was_late(self) -> bool:
        """In the eye beyond the limit."""
        return self.out_on is None or self.out_on > self.limit


@dataclass(frozen=True, slots=True)
class CohortRow:
    """One eye on one clock, as known on the lock date. The days are whole days since `start`."""

    eye_id: int
    code: str
    patient_code: str
    surgeon_code: str
    """Empty where no surgeon is on record."""
    site: str
    index_date: date
    date_precision: DatePrecision
    indication: Indication
    procedures: frozenset[Procedure]
    tamponade: Tamponade
    extent: Extent
    repeat: Repeat
    traits: Traits
    ending: Ending
    start: date | None
    days: int | None
    """To the event, or until last seen without it; None for an eye that is not in the curve."""
    found_on: date | None
    last_well: date | None
    final: FinalState
    final_on: date | None
    primary_success: bool | None
    hole: HoleState
    hole_primary: bool | None
    last_exam: date | None
    died_on: date | None
    seen: tuple[bool, ...]
    """Whether the eye was examined in the window of each of TIMES."""
    sight: tuple[Reading | None, ...]
    """Before the operation, then at each of TIMES."""
    oil: OilStay | None

    @property
    def recurred(self) -> bool:
        return self.ending is Ending.RECURRED

    @property
    def in_curve(self) -> bool:
        return self.days is not None
