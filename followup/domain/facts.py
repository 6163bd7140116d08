"""What is known of one operated eye, as plain values; `queries/facts.py` is the one place that fills them.

Entries in error and decisions undone never get here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date

from followup.domain.words import (
    AppointmentState,
    Channel,
    ContactResult,
    DecisionKind,
    Extent,
    Hole,
    Indication,
    Lane,
    Procedure,
    Repeat,
    Retina,
    Side,
    Tamponade,
    TamponadeSeen,
    YesNo,
)


@dataclass(frozen=True, slots=True)
class Known:
    """The days on which a record was held true: from `since` until the day before `until`."""

    since: date | None = None
    """None: from the beginning."""
    until: date | None = None
    """The day it was taken back or replaced; None: it still holds."""

    def on(self, day: date) -> bool:
        return (self.since is None or self.since <= day) and (self.until is None or day < self.until)


ALWAYS = Known()


@dataclass(frozen=True, slots=True)
class EyeTraits:
    """What an eye and its owner bring along, whatever the operation."""

    side: Side = Side.RIGHT
    axial_length_mm: float | None = None
    staphyloma: YesNo = YesNo.UNKNOWN
    only_eye: bool = False
    birth_date: date | None = None
    age_stated: int | None = None
    died_on: date | None = None
    death_to_confirm: bool = False
    """The death was reported, and no second person has confirmed it yet."""
    known: Known = ALWAYS


@dataclass(frozen=True, slots=True)
class OperationFact:
    id: int
    date: date
    indication: Indication = Indication.UNKNOWN
    procedures: frozenset[Procedure] = frozenset()
    tamponade_in: Tamponade = Tamponade.UNKNOWN
    takes_out: bool = False
    repeat: Repeat = Repeat.FIRST
    extent: Extent = Extent.UNKNOWN
    attached_at_end: YesNo = YesNo.UNKNOWN
    restarts: bool | None = None
    known: Known = ALWAYS

    @property
    def is_retinal(self) -> bool:
        """Retinal surgery, or an operation whose procedures nobody recorded."""
        return not self.procedures or any(procedure.is_retinal for procedure in self.procedures)

    @property
    def restarts_follow_up(self) -> bool:
        """Whoever recorded it may say; else retinal surgery and anything that moves a tamponade does."""
        if self.restarts is not None:
            return self.restarts
        return self.is_retinal or self.takes_out or self.tamponade_in.kind.must_come_out


@dataclass(frozen=True, slots=True)
class ExamFact:
    id: int
    visit_id: int
    day: date
    retina: Retina = Retina.NOT_EXAMINED
    hole: Hole = Hole.NOT_EXAMINED
    tamponade_seen: TamponadeSeen = TamponadeSeen.NOT_EXAMINED
    known: Known = ALWAYS


@dataclass(frozen=True, slots=True)
class AppointmentFact:
    """A place that awaits its outcome, was not attended, or was taken back by the clinic.

    A theatre place is listed only with the eye it is for.
    """

    id: int
    day: date
    lane: Lane
    state: AppointmentState = AppointmentState.BOOKED
    cancelled_on: date | None = None
    """The day the clinic took it back."""
    known: Known = ALWAYS

    def lies_ahead(self, day: date) -> bool:
        return self.day >= day and self.state.awaits_outcome

    def lacks_outcome(self, day: date) -> bool:
        return self.day < day and self.state.awaits_outcome

    def was_missed_by(self, day: date) -> bool:
        return self.state is AppointmentState.NOSHOW and self.day <= day

    def had_happened_by(self, day: date) -> bool:
        """A place that is over for good is told of only from the day it was missed or taken back."""
        if self.state is AppointmentState.NOSHOW:
            return self.day <= day
        return self.cancelled_on is None or self.cancelled_on <= day


@dataclass(frozen=True, slots=True)
class DecisionFact:
    id: int
    kind: DecisionKind
    signed_on: date
    review_on: date | None = None
    accepted_on: date | None = None
    visit_day: date | None = None
    milestone_key: str = ""
    to_whom: str = ""
    operation_id: int | None = None
    """A change of pathway: the operation whose course it moves."""
    known: Known = ALWAYS


@dataclass(frozen=True, slots=True)
class AttemptFact:
    day: date
    result: ContactResult
    channel: Channel = Channel.PHONE
    next_step_on: date | None = None
    known: Known = ALWAYS


@dataclass(frozen=True, slots=True)
class ReportFact:
    """The person told of new symptoms. Open until a clinician has signed what to do."""

    id: int
    day: date
    answered_on: date | None = None
    known: Known = ALWAYS


@dataclass(frozen=True, slots=True)
class PathwayId:
    key: str
    version: int


@dataclass(frozen=True, slots=True)
class Pin:
    """The pathway version that a course follows, and the fingerprint of the facts that chose it."""

    pathway: PathwayId
    chosen_for: str
    is_signed: bool = False
    """A clinician moved the course to it: no changed fact chooses another."""


@dataclass(frozen=True, slots=True)
class EyeHistory:
    """All facts of one eye. Operations are in date order, those of one day in the order entered."""

    eye_id: int
    traits: EyeTraits = EyeTraits()
    operations: tuple[OperationFact, ...] = ()
    exams: tuple[ExamFact, ...] = ()
    appointments: tuple[AppointmentFact, ...] = ()
    decisions: tuple[DecisionFact, ...] = ()
    attempts: tuple[AttemptFact, ...] = ()
    reports: tuple[ReportFact, ...] = ()
    pinned: Mapping[int, Pin] = field(default_factory=dict)
    """What the course of an operation already follows, by operation id."""

    def until(self, day: date) -> EyeHistory:
        """The history as it had happened by the end of `day`, told from what is known now."""
        died_on = self.traits.died_on
        return replace(
            self,
            traits=replace(self.traits, died_on=died_on if died_on and died_on <= day else None),
            operations=tuple(op for op in self.operations if op.date <= day),
            exams=tuple(exam for exam in self.exams if exam.day <= day),
            decisions=tuple(signed for signed in self.decisions if signed.signed_on <= day),
            appointments=tuple(place for place in self.appointments if place.had_happened_by(day)),
            attempts=tuple(attempt for attempt in self.attempts if attempt.day <= day),
            reports=tuple(_as_of(report, day) for report in self.reports if report.day <= day),
        )


def _as_of(report: ReportFact, day: date) -> ReportFact:
    answered = report.answered_on
    return replace(report, answered_on=answered if answered and answered <= day else None)
