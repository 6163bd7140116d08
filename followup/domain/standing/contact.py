"""Whether an eye's owner is to be reached, and where they then stand on the ladder."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, timedelta

from followup.domain.ladder import Chase, Hurry, Ladder, Rung, rung_on
from followup.domain.standing.lanes import awaited_reviews
from followup.domain.standing.questions import refuses, settled_on
from followup.domain.standing.state import EyeState, LaneStanding
from followup.domain.words import ContactResult, Standing

_PENDING = (ContactResult.CALL_BACK, ContactResult.WRONG_NUMBER, ContactResult.RETURNED)
_FIRST_WEEK = timedelta(days=7)


def contact_on(state: EyeState, lanes: Iterable[LaneStanding], day: date, ladder: Ladder) -> Rung | None:
    """The next step to reach the owner; None while a place ahead serves whatever is overdue or to book.

    What was promised or found wrong with the last attempt is followed up all the same. Whoever reported new
    symptoms, or refuses, is a clinician's until that is answered.
    """
    if state.open_reports or any(refuses(state, day)):
        return None
    wanted = [lane for lane in lanes if _is_wanted(lane, state, day)]
    if not wanted and not _is_pending(state, day):
        return None
    missed = [place.day for place in state.appointments if place.was_missed_by(day)]
    chase = Chase(
        attempts=tuple(attempt for attempt in state.attempts if attempt.day <= day),
        overdue_since=min((lane.since for lane in wanted if lane.since), default=None),
        seen_on=state.last_seen,
        settled_on=settled_on(state),
        missed_on=max(missed, default=None),
        shorter=ladder.is_shorter(hurries(state, wanted, day)),
    )
    rung = rung_on(ladder, chase, day)
    return rung if wanted or not rung.is_exhausted else None


def _is_wanted(lane: LaneStanding, state: EyeState, day: date) -> bool:
    """Overdue or to book, and no place ahead; an overdue eye is seen at any, in whatever period."""
    if lane.standing is Standing.OVERDUE:
        return not any(place.lane is lane.lane and place.lies_ahead(day) for place in state.appointments)
    return lane.standing is Standing.TO_BOOK and lane.appointment is None


def _is_pending(state: EyeState, day: date) -> bool:
    """The last attempt ended with a call promised, or with a number or address that must be looked for."""
    made = [attempt for attempt in state.attempts_since_seen if attempt.day <= day]
    return bool(made) and made[-1].result in _PENDING and made[-1].next_step_on is not None


def hurries(state: EyeState, wanted: Sequence[LaneStanding], day: date) -> Iterator[Hurry]:
    """What makes the ladder's days shorter for this eye. A child is who was one when operated on."""
    if state.holds_oil:
        yield Hurry.OIL
    if state.traits.only_eye:
        yield Hurry.ONLY_EYE
    if state.is_child_on(state.course.anchor):
        yield Hurry.CHILD
    awaited = [lane.milestone for lane in wanted if lane.milestone]
    awaited += [milestone for milestone in awaited_reviews(state, day) if milestone.closes < day]
    if any(milestone.target <= state.course.anchor + _FIRST_WEEK for milestone in awaited):
        yield Hurry.FIRST_WEEK
