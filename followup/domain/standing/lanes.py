"""The two lanes of a course: reviews, met by an exam; a removal, met by an operation."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, timedelta

from followup.domain.facts import AppointmentFact
from followup.domain.fills import Fill
from followup.domain.pathway.milestones import Milestone
from followup.domain.standing.state import EyeState, LaneStanding, Limits, keep_decision
from followup.domain.words import Lane, Standing


def reviews(state: EyeState, day: date, limits: Limits) -> LaneStanding:
    unmet = list(awaited_reviews(state, day))
    closed = [m for m in unmet if m.closes < day]
    step = next((m for m in unmet if m.period_ends is None or m.period_ends >= day), None)
    appointment = _covering(state, step, day) if step else None
    late = bool(appointment and step and appointment.day > step.closes)
    if closed:
        first = min(closed, key=lambda m: m.closes)
        waiting_for = step or closed[-1]
        booked = f" Booked for {appointment.day:%-d %b %Y}." if appointment else ""
        words = f"{_overdue(waiting_for, first, day)}{booked}"
        return LaneStanding(
            Lane.REVIEW, Standing.OVERDUE, words, waiting_for, first.closes, appointment, late
        )
    if step is None:
        return LaneStanding(Lane.REVIEW, Standing.WAITING, "No review is planned.")
    return _planned(Lane.REVIEW, step, appointment, late, day, limits)


def _overdue(waiting_for: Milestone, first: Milestone, day: date) -> str:
    """Which review to book, by when, and since when it presses; a review missed before it is named."""
    by = f"book by {waiting_for.closes:%-d %b %Y}; " if waiting_for.closes >= day else ""
    missed = f", when {first.title} was missed" if first.key != waiting_for.key else ""
    return f"{waiting_for.title}: {by}overdue since {first.closes:%-d %b %Y}{missed}."


def awaited_reviews(state: EyeState, day: date) -> Iterator[Milestone]:
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
    if step.opens <= day:
        return LaneStanding(lane, Standing.TO_BOOK, f"{step.title}: book by {step.closes:%-d %b %Y}.", step)
    window = f"between {step.opens:%-d %b %Y} and {step.closes:%-d %b %Y}"
    if step.opens <= day + timedelta(days=limits.horizon_days):
        return LaneStanding(lane, Standing.TO_BOOK, f"{step.title}: book {window}.", step)
    return LaneStanding(lane, Standing.WAITING, f"{step.title}: {window}.", step)


def missed_reviews(state: EyeState, day: date) -> int:
    return sum(m.is_missed(day) for m in awaited_reviews(state, day))


def removal(state: EyeState, day: date, limits: Limits) -> Iterator[LaneStanding]:
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
