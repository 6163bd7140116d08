"""Where an operated eye stands on a day: a pure function of the facts and the date.

Every operated eye is in exactly one standing. A course has two lanes, reviews and removals; the eye's
standing is that of its most pressing lane, in the order needs a decision, overdue, to book, booked, waiting.
The rules are told in DEVELOPERS.md, Standing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from followup.domain.facts import AppointmentFact, AttemptFact, DecisionFact, EyeHistory, EyeTraits
from followup.domain.fills import Fill, open_fill
from followup.domain.pathway.milestones import Course, Milestone, Plan
from followup.domain.words import DecisionKind, Lane, Retina, Standing, TamponadeKind, TamponadeSeen

_PRESSING = [
    Standing.NEEDS_DECISION,
    Standing.OVERDUE,
    Standing.TO_BOOK,
    Standing.BOOKED,
    Standing.WAITING,
]


@dataclass(frozen=True, slots=True)
class Limits:
    """What a site sets: how far ahead it books, and how many failed attempts it makes before asking."""

    horizon_days: int = 42
    attempts: int = 5


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

    @property
    def leading(self) -> LaneStanding | None:
        return self.lanes[0] if self.lanes else None


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
    )


def standing_on(state: EyeState, day: date, limits: Limits = Limits()) -> EyeStanding:
    """Exactly one standing for an operated eye on `day`."""
    closed = _closed(state)
    if closed is not None:
        return closed
    lanes = [*_asks(state, day, limits), _reviews(state, day, limits), *_removal(state, day, limits)]
    lanes.sort(key=_pressing)
    first = lanes[0]
    return EyeStanding(first.standing, first.next_step, first.since, tuple(lanes), _missed(state, day))


def _pressing(lane: LaneStanding) -> tuple[int, date, date]:
    """Most pressing first; between equals the older question, then the step that is due first."""
    return _PRESSING.index(lane.standing), lane.since or date.max, lane.due


# Closed


def _closed(state: EyeState) -> EyeStanding | None:
    """Closed by a death, or by a signature that no later operation reopened."""
    if state.traits.died_on is not None:
        return EyeStanding(Standing.CLOSED, "Died.", state.traits.died_on)
    signed = closing_decision(state.decisions, state.last_operation)
    if signed is None:
        return None
    where = f" to {signed.to_whom}" if signed.to_whom else ""
    return EyeStanding(Standing.CLOSED, f"{signed.kind.label}{where}.", signed.signed_on)


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


# Needs a decision


def _asks(state: EyeState, day: date, limits: Limits) -> Iterator[LaneStanding]:
    """Every question that only a clinician can answer, with the day it arose."""
    for lane, since, question in (
        *_detached(state, day),
        *_contradictions(state),
        *_unreached(state, day, limits),
        *_oil_kept_past_review(state, day),
        *_complete(state),
    ):
        yield LaneStanding(lane, Standing.NEEDS_DECISION, question, since=since)


_Question = tuple[Lane, date, str]


def _settled(state: EyeState, since: date) -> bool:
    """A clinician signed a plan, or a day to see the eye again, once the question had arisen."""
    kinds = (DecisionKind.PLAN, DecisionKind.SEE_AGAIN)
    return any(signed.kind in kinds and signed.signed_on >= since for signed in state.decisions)


def _detached(state: EyeState, day: date) -> Iterator[_Question]:
    if state.last_retina is None or not state.last_retina[1].is_detached:
        return
    found = state.last_retina[0]
    theatre = any(a.lane is Lane.REMOVAL and a.lies_ahead(day) for a in state.appointments)
    if found > state.last_operation and not theatre and not _settled(state, found):
        yield Lane.REVIEW, found, f"Retina detached when seen on {found:%-d %b %Y}, and no plan is signed."


def _contradictions(state: EyeState) -> Iterator[_Question]:
    fill, seen = state.fill, state.last_tamponade
    if fill and fill.tamponade.kind is TamponadeKind.UNKNOWN and not _settled(state, fill.placed_on):
        yield (
            Lane.REMOVAL,
            fill.placed_on,
            (f"Tamponade of the operation on {fill.placed_on:%-d %b %Y} is not recorded: unknown, check."),
        )
    if seen is None or seen[0] <= state.last_operation or _settled(state, seen[0]):
        return
    since, what = seen
    holds_oil = fill is not None and fill.must_come_out
    if holds_oil and what is TamponadeSeen.NONE:
        yield (
            Lane.REMOVAL,
            since,
            (f"No oil was seen on {since:%-d %b %Y}, but no operation on record took it out."),
        )
    if not holds_oil and what in (TamponadeSeen.OIL, TamponadeSeen.HEAVY_LIQUID):
        yield (
            Lane.REMOVAL,
            since,
            (f"{what.label} was seen on {since:%-d %b %Y}, but no operation on record put it in."),
        )


def _unreached(state: EyeState, day: date, limits: Limits) -> Iterator[_Question]:
    """So many attempts since the eye was last seen, and none reached anybody."""
    since_seen = [a for a in state.attempts if state.last_seen is None or a.day > state.last_seen]
    failed: list[AttemptFact] = []
    for attempt in since_seen:
        failed = [] if attempt.result.reached else [*failed, attempt]
    ahead = any(appointment.lies_ahead(day) for appointment in state.appointments)
    if len(failed) >= limits.attempts and not ahead and not _settled(state, failed[-1].day):
        yield Lane.REVIEW, failed[-1].day, f"{len(failed)} contact attempts without an answer."


def _oil_kept_past_review(state: EyeState, day: date) -> Iterator[_Question]:
    kept = keep_decision(state)
    if kept is not None and kept.review_on is not None and day > kept.review_on:
        yield (
            Lane.REMOVAL,
            kept.review_on + timedelta(days=1),
            (f"The decision to keep the oil was to be reviewed by {kept.review_on:%-d %b %Y}."),
        )


def _complete(state: EyeState) -> Iterator[_Question]:
    """All planned reviews are over and none is to come: discharge, or say when to see the eye again."""
    reviews = [m for m in state.course.milestones if m.lane is Lane.REVIEW]
    if state.course.endless is None and all(not m.is_unmet or _overtaken(m, state) for m in reviews):
        done = max((m.met_on for m in reviews if m.met_on), default=state.course.anchor)
        yield Lane.REVIEW, done, "All planned reviews are done: discharge, or say when to see the eye again."


def _overtaken(milestone: Milestone, state: EyeState) -> bool:
    """The eye was seen after this one's period, so it will not be asked for again."""
    ends, seen = milestone.period_ends, state.last_seen
    return ends is not None and seen is not None and ends < seen


# Reviews


def _reviews(state: EyeState, day: date, limits: Limits) -> LaneStanding:
    unmet = list(_awaited(state, day))
    closed = [m for m in unmet if m.closes < day]
    step = next((m for m in unmet if m.period_ends is None or m.period_ends >= day), None)
    appointment = _covering(state, step, day) if step else None
    late = bool(appointment and step and appointment.day > step.closes)
    if closed:
        since = min(m.closes for m in closed)
        waiting_for = step or closed[-1]
        booked = f" Booked for {appointment.day:%-d %b %Y}." if appointment else ""
        return LaneStanding(
            Lane.REVIEW,
            Standing.OVERDUE,
            f"{waiting_for.title}: overdue since {since:%-d %b %Y}.{booked}",
            waiting_for,
            since,
            appointment,
            late,
        )
    if step is None:
        return LaneStanding(Lane.REVIEW, Standing.WAITING, "No review is planned.")
    return _planned(Lane.REVIEW, step, appointment, late, day, limits)


def _awaited(state: EyeState, day: date) -> Iterator[Milestone]:
    """Reviews that opened since the eye was last seen, or will: one seen later needs no earlier one."""
    milestones = state.course.milestones_by(day + timedelta(days=366))
    reviews = (m for m in milestones if m.lane is Lane.REVIEW and m.is_unmet)
    seen = state.last_seen
    return iter(sorted((m for m in reviews if seen is None or m.opens > seen), key=lambda m: m.opens))


def _covering(state: EyeState, step: Milestone, day: date) -> AppointmentFact | None:
    """The first place ahead that serves the lane and falls in the milestone's period.

    For a removal any theatre place ahead serves, since whenever the operation is done it meets it.
    """
    return next(
        (
            a
            for a in sorted(state.appointments, key=lambda a: (a.day, a.id))
            if a.lane is step.lane
            and a.lies_ahead(day)
            and (step.lane is Lane.REMOVAL or step.period_holds(a.day))
        ),
        None,
    )


def _planned(
    lane: Lane, step: Milestone, appointment: AppointmentFact | None, late: bool, day: date, limits: Limits
) -> LaneStanding:
    if appointment is not None:
        words = f"{step.title}: booked for {appointment.day:%-d %b %Y}{', after its window' if late else ''}."
        return LaneStanding(lane, Standing.BOOKED, words, step, None, appointment, late)
    window = f"between {step.opens:%-d %b %Y} and {step.closes:%-d %b %Y}"
    if step.opens <= day + timedelta(days=limits.horizon_days):
        return LaneStanding(lane, Standing.TO_BOOK, f"{step.title}: book {window}.", step)
    return LaneStanding(lane, Standing.WAITING, f"{step.title}: {window}.", step)


def _missed(state: EyeState, day: date) -> int:
    return sum(m.is_missed(day) for m in _awaited(state, day))


# Removals


def keep_decision(state: EyeState) -> DecisionFact | None:
    """The last signature that keeps the present oil in."""
    fill = state.fill
    kept = [
        signed
        for signed in state.decisions
        if signed.kind is DecisionKind.KEEP_OIL and fill is not None and signed.signed_on >= fill.placed_on
    ]
    return kept[-1] if kept else None


def _removal(state: EyeState, day: date, limits: Limits) -> Iterator[LaneStanding]:
    step = _awaited_removal(state.course.milestones, state.fill)
    if step is None:
        return
    appointment = _covering(state, step, day)
    late = bool(appointment and appointment.day > step.closes)
    kept = keep_decision(state)
    if kept is not None and kept.review_on is not None:
        if day <= kept.review_on:
            words = f"Oil kept by decision; review it by {kept.review_on:%-d %b %Y}."
            standing = Standing.BOOKED if appointment else Standing.WAITING
            yield LaneStanding(
                Lane.REMOVAL, standing, words, step, None, appointment, late, review_on=kept.review_on
            )
    elif step.closes < day:
        booked = f" Theatre booked for {appointment.day:%-d %b %Y}." if appointment else ""
        words = f"{step.title}: past its limit since {step.closes:%-d %b %Y}.{booked}"
        yield LaneStanding(Lane.REMOVAL, Standing.OVERDUE, words, step, step.closes, appointment, late)
    else:
        yield _planned(Lane.REMOVAL, step, appointment, late, day, limits)


def _awaited_removal(milestones: Sequence[Milestone], fill: Fill | None) -> Milestone | None:
    if fill is None or not fill.must_come_out:
        return None
    return next((m for m in milestones if m.lane is Lane.REMOVAL and m.is_unmet), None)
