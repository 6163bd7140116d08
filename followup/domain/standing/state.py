"""What standing needs of an eye, and what it answers."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from followup.domain.dates.workdays import age_on
from followup.domain.facts import (
    AppointmentFact,
    AttemptFact,
    DecisionFact,
    EyeHistory,
    EyeTraits,
    ReportFact,
)
from followup.domain.fills import Fill, open_fill
from followup.domain.ladder import Ladder, Rung
from followup.domain.pathway.milestones import Course, Milestone, Plan
from followup.domain.words import DecisionKind, Lane, Question, Retina, Standing, TamponadeSeen

_ADULT = 18


@dataclass(frozen=True, slots=True)
class Limits:
    """What a site sets: its ladder, how far ahead it books, and how often it may postpone before it asks."""

    ladder: Ladder
    horizon_days: int = 42
    postponements: int = 3
    """Places taken back by the clinic since the eye was last seen (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class EyeState:
    """What standing needs of an eye, and no more; from a whole history or from stored rows alike."""

    eye_id: int
    traits: EyeTraits
    course: Course
    last_operation: date
    fill: Fill | None = None
    last_seen: date | None = None
    last_retina: tuple[date, Retina] | None = None
    """The last exam that saw the retina, and how it was."""
    last_tamponade: tuple[date, TamponadeSeen] | None = None
    """The last exam that looked for a tamponade, and what it saw."""
    appointments: tuple[AppointmentFact, ...] = ()
    decisions: tuple[DecisionFact, ...] = ()
    attempts: tuple[AttemptFact, ...] = ()
    reports: tuple[ReportFact, ...] = ()

    @property
    def holds_oil(self) -> bool:
        """Oil or heavy liquid, which only an operation takes out."""
        return self.fill is not None and self.fill.must_come_out

    @property
    def attempts_since_seen(self) -> tuple[AttemptFact, ...]:
        seen = self.last_seen
        return tuple(attempt for attempt in self.attempts if seen is None or attempt.day > seen)

    @property
    def open_reports(self) -> tuple[ReportFact, ...]:
        return tuple(report for report in self.reports if report.answered_on is None)

    def is_child_on(self, day: date) -> bool:
        born = self.traits.birth_date
        return born is not None and born <= day and age_on(born, day) < _ADULT

    def has_place_ahead(self, day: date) -> bool:
        return any(appointment.lies_ahead(day) for appointment in self.appointments)


@dataclass(frozen=True, slots=True)
class LaneStanding:
    lane: Lane
    standing: Standing
    next_step: str
    milestone: Milestone | None = None
    since: date | None = None
    """Overdue: the day the first unmet window closed. Needs a decision: the day the question arose."""
    appointment: AppointmentFact | None = None
    booked_late: bool = False
    review_on: date | None = None
    """Oil kept by decision: the day by which the decision is to be reviewed."""
    question: Question | None = None

    @property
    def due(self) -> date:
        """The day the next step is about; the far future where there is none."""
        if self.review_on is not None:
            return self.review_on
        return self.milestone.opens if self.milestone else date.max


@dataclass(frozen=True, slots=True)
class EyeStanding:
    """The eye's standing with its next step; `lanes` are most pressing first, empty for a closed eye."""

    standing: Standing
    next_step: str
    since: date | None = None
    lanes: tuple[LaneStanding, ...] = ()
    missed: int = 0
    """Reviews missed since the eye was last seen."""
    contact: Rung | None = None
    """Where its owner stands on the ladder; None while there is nothing to reach them for."""

    @property
    def leading(self) -> LaneStanding | None:
        return self.lanes[0] if self.lanes else None

    @property
    def questions(self) -> tuple[LaneStanding, ...]:
        return tuple(lane for lane in self.lanes if lane.question is not None)


def state_of(history: EyeHistory, plan: Plan) -> EyeState | None:
    """What standing needs of this history; None for an eye that was never operated on."""
    if plan.current is None:
        return None
    exams = sorted(history.exams, key=lambda exam: (exam.day, exam.id))
    seen = [exam for exam in exams if exam.retina not in (Retina.NOT_VISIBLE, Retina.NOT_EXAMINED)]
    looked = [exam for exam in exams if exam.tamponade_seen is not TamponadeSeen.NOT_EXAMINED]
    return EyeState(
        eye_id=history.eye_id,
        traits=history.traits,
        course=plan.current,
        last_operation=history.operations[-1].date,
        fill=open_fill(plan.fills),
        last_seen=exams[-1].day if exams else None,
        last_retina=(seen[-1].day, seen[-1].retina) if seen else None,
        last_tamponade=(looked[-1].day, looked[-1].tamponade_seen) if looked else None,
        appointments=history.appointments,
        decisions=history.decisions,
        attempts=history.attempts,
        reports=history.reports,
    )


def closing_decision(decisions: Iterable[DecisionFact], last_operation: date) -> DecisionFact | None:
    """The signature that closes an eye: a transfer only once accepted, any only until the next operation."""
    closing = [
        signed
        for signed in decisions
        if signed.kind.closes
        and signed.signed_on >= last_operation
        and (signed.kind is not DecisionKind.TRANSFER or signed.accepted_on is not None)
    ]
    return closing[-1] if closing else None


def keep_decision(state: EyeState) -> DecisionFact | None:
    """The last signature that keeps the present oil in."""
    fill = state.fill
    kept = [
        signed
        for signed in state.decisions
        if signed.kind is DecisionKind.KEEP_OIL and fill is not None and signed.signed_on >= fill.placed_on
    ]
    return kept[-1] if kept else None
