"""Where an operated eye stands on a day: a pure function of the facts and the date.

Every operated eye is in exactly one standing. A course has two lanes, reviews and removals; the eye's
standing is that of its most pressing lane, in the order needs a decision, overdue, to book, booked, waiting.
The rules are told in DEVELOPERS.md, Standing.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from followup.domain.standing.contact import contact_on
from followup.domain.standing.lanes import missed_reviews, removal, reviews
from followup.domain.standing.questions import FITTING, asks, death_to_confirm, reports_of
from followup.domain.standing.state import (
    EyeStanding,
    EyeState,
    LaneStanding,
    Limits,
    closing_decision,
    keep_decision,
    state_of,
)
from followup.domain.words import Question, Standing

__all__ = [
    "FITTING",
    "EyeStanding",
    "EyeState",
    "LaneStanding",
    "Limits",
    "closing_decision",
    "keep_decision",
    "standing_on",
    "state_of",
]

_PRESSING = [
    Standing.NEEDS_DECISION,
    Standing.OVERDUE,
    Standing.TO_BOOK,
    Standing.BOOKED,
    Standing.WAITING,
]


def standing_on(state: EyeState, day: date, limits: Limits) -> EyeStanding:
    """Exactly one standing for an operated eye on `day`."""
    death = death_to_confirm(state)
    if death is not None:
        return _led_by([death])
    closed = _closed(state)
    if closed is not None:
        told = [] if state.traits.died_on is not None else reports_of(state)
        return _led_by(told) if told else closed
    planned = [reviews(state, day, limits), *removal(state, day, limits)]
    contact = contact_on(state, planned, day, limits.ladder)
    lanes = [*asks(state, day, limits, contact), *planned]
    lanes.sort(key=_pressing)
    first = lanes[0]
    return EyeStanding(
        first.standing, first.next_step, first.since, tuple(lanes), missed_reviews(state, day), contact
    )


def _led_by(lanes: Sequence[LaneStanding]) -> EyeStanding:
    first = lanes[0]
    return EyeStanding(first.standing, first.next_step, first.since, tuple(lanes))


def _pressing(lane: LaneStanding) -> tuple[int, bool, date, date]:
    """Most pressing first, new symptoms before all; then the older question, then the step due first."""
    return (
        _PRESSING.index(lane.standing),
        lane.question is not Question.SYMPTOMS,
        lane.since or date.max,
        lane.due,
    )


def _closed(state: EyeState) -> EyeStanding | None:
    """Closed by a death that two people vouch for, or by a signature that no later operation reopened."""
    if state.traits.died_on is not None:
        return EyeStanding(Standing.CLOSED, "Died.", state.traits.died_on)
    signed = closing_decision(state.decisions, state.last_operation)
    if signed is None:
        return None
    where = f" to {signed.to_whom}" if signed.to_whom else ""
    return EyeStanding(Standing.CLOSED, f"{signed.kind.label}{where}.", signed.signed_on)
