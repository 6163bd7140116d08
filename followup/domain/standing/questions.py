"""Every question on an eye that only a clinician can answer, and the decisions that fit each."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

from followup.domain.facts import AppointmentFact, AttemptFact
from followup.domain.ladder import Rung
from followup.domain.pathway.milestones import Milestone
from followup.domain.standing.state import EyeState, LaneStanding, Limits, keep_decision
from followup.domain.words import (
    Channel,
    ContactResult,
    DecisionKind,
    Lane,
    Question,
    Standing,
    TamponadeKind,
    TamponadeSeen,
)

FITTING: dict[Question, tuple[DecisionKind, ...]] = {
    Question.SYMPTOMS: (DecisionKind.PLAN, DecisionKind.SEE_AGAIN),
    Question.DEATH: (),
    Question.DETACHED: (DecisionKind.PLAN, DecisionKind.SEE_AGAIN, DecisionKind.TRANSFER),
    Question.TAMPONADE_UNKNOWN: (DecisionKind.PLAN, DecisionKind.SEE_AGAIN),
    Question.CONTRADICTION: (DecisionKind.PLAN, DecisionKind.SEE_AGAIN),
    Question.UNREACHED: (
        DecisionKind.PLAN,
        DecisionKind.SEE_AGAIN,
        DecisionKind.LOST,
        DecisionKind.TRANSFER,
    ),
    Question.REFUSES: (DecisionKind.PLAN, DecisionKind.SEE_AGAIN, DecisionKind.REFUSED),
    Question.LETTER_RETURNED: (DecisionKind.PLAN, DecisionKind.LOST),
    Question.POSTPONED: (DecisionKind.PLAN, DecisionKind.SEE_AGAIN, DecisionKind.CHANGE_PATHWAY),
    Question.OIL_REVIEW: (DecisionKind.KEEP_OIL, DecisionKind.PLAN),
    Question.COMPLETE: (DecisionKind.DISCHARGE, DecisionKind.SEE_AGAIN, DecisionKind.CHANGE_PATHWAY),
}
"""What a clinician may answer with; a record that is wrong is corrected instead."""

_Asked = tuple[Question, Lane, date, str]


def asks(state: EyeState, day: date, limits: Limits, contact: Rung | None) -> Iterator[LaneStanding]:
    """The questions that are open on `day`. `contact`: where its owner stands on the ladder."""
    found = (
        *reported(state),
        *_detached(state, day),
        *_contradictions(state),
        *_unreached(day, contact),
        *refuses(state, day),
        *_letter_returned(state, day),
        *_postponed(state, limits),
        *_oil_kept_past_review(state, day),
        *_complete(state),
    )
    return map(_as_lane, found)


def reports_of(state: EyeState) -> list[LaneStanding]:
    """What the person told of, which is asked of a closed eye too."""
    return [_as_lane(asked) for asked in reported(state)]


def death_to_confirm(state: EyeState) -> LaneStanding | None:
    died_on = state.traits.died_on
    if died_on is None or not state.traits.death_to_confirm:
        return None
    words = f"A death on {died_on:%-d %b %Y} is reported: a second person confirms it, or takes it back."
    return _as_lane((Question.DEATH, Lane.REVIEW, died_on, words))


def _as_lane(asked: _Asked) -> LaneStanding:
    question, lane, since, words = asked
    return LaneStanding(lane, Standing.NEEDS_DECISION, words, since=since, question=question)


def _settled(state: EyeState, since: date) -> bool:
    """A clinician signed a plan, or a day to see the eye again, once the question had arisen."""
    settled = settled_on(state)
    return settled is not None and settled >= since


def settled_on(state: EyeState) -> date | None:
    """The day a clinician last signed a plan, or a day to see the eye again."""
    kinds = (DecisionKind.PLAN, DecisionKind.SEE_AGAIN)
    return max((signed.signed_on for signed in state.decisions if signed.kind in kinds), default=None)


def reported(state: EyeState) -> Iterator[_Asked]:
    for report in state.open_reports[:1]:
        words = f"Reports new symptoms, told on {report.day:%-d %b %Y}: same-day care. Sign what to do."
        yield Question.SYMPTOMS, Lane.REVIEW, report.day, words


def _detached(state: EyeState, day: date) -> Iterator[_Asked]:
    if state.last_retina is None or not state.last_retina[1].is_detached:
        return
    found = state.last_retina[0]
    theatre = any(a.lane is Lane.REMOVAL and a.lies_ahead(day) for a in state.appointments)
    if found > state.last_operation and not theatre and not _settled(state, found):
        words = f"Retina detached when seen on {found:%-d %b %Y}, and no plan is signed."
        yield Question.DETACHED, Lane.REVIEW, found, words


def _contradictions(state: EyeState) -> Iterator[_Asked]:
    fill, seen = state.fill, state.last_tamponade
    if fill and fill.tamponade.kind is TamponadeKind.UNKNOWN and not _settled(state, fill.placed_on):
        placed = fill.placed_on
        words = f"Tamponade of the operation on {placed:%-d %b %Y} is not recorded: unknown, check."
        yield Question.TAMPONADE_UNKNOWN, Lane.REMOVAL, placed, words
    if seen is None or seen[0] <= state.last_operation or _settled(state, seen[0]):
        return
    since, what = seen
    if state.holds_oil and what is TamponadeSeen.NONE:
        words = f"No oil was seen on {since:%-d %b %Y}, but no operation on record took it out."
        yield Question.CONTRADICTION, Lane.REMOVAL, since, words
    if not state.holds_oil and what in (TamponadeSeen.OIL, TamponadeSeen.HEAVY_LIQUID):
        words = f"{what.label} was seen on {since:%-d %b %Y}, but no operation on record put it in."
        yield Question.CONTRADICTION, Lane.REMOVAL, since, words


def _unreached(day: date, contact: Rung | None) -> Iterator[_Asked]:
    """Every step of the ladder was tried in vain, and the day has come on which a clinician decides."""
    if contact is not None and contact.is_exhausted and contact.due <= day:
        words = f"{contact.failed} contact attempts without an answer, and the ladder is at its end."
        yield Question.UNREACHED, Lane.REVIEW, contact.due, words


def refuses(state: EyeState, day: date) -> Iterator[_Asked]:
    reached = [attempt for attempt in state.attempts_since_seen if attempt.result.reached]
    if not reached or reached[-1].result is not ContactResult.REFUSED:
        return
    since = reached[-1].day
    if not state.has_place_ahead(day) and not _settled(state, since):
        yield Question.REFUSES, Lane.REVIEW, since, f"Reached on {since:%-d %b %Y}, and refuses to come."


def _letter_returned(state: EyeState, day: date) -> Iterator[_Asked]:
    """The last letter came back, and nobody was reached since."""
    letters: list[AttemptFact] = []
    for attempt in state.attempts_since_seen:
        letters = [] if attempt.result.reached else letters
        if attempt.channel is Channel.LETTER:
            letters = [attempt]
    if not letters or letters[-1].result is not ContactResult.RETURNED:
        return
    since = letters[-1].day
    if not state.has_place_ahead(day) and not _settled(state, since):
        words = f"The letter came back on {since:%-d %b %Y}: the address on record does not reach them."
        yield Question.LETTER_RETURNED, Lane.REVIEW, since, words


def _postponed(state: EyeState, limits: Limits) -> Iterator[_Asked]:
    """The clinic took back so many places since the eye was last seen."""
    taken = sorted(day for place in state.appointments if (day := _taken_back(place, state)) is not None)
    if len(taken) >= limits.postponements and not _settled(state, taken[-1]):
        days = ", ".join(f"{day:%-d %b %Y}" for day in taken)
        words = f"The clinic cancelled {len(taken)} places since the eye was last seen: on {days}."
        yield Question.POSTPONED, Lane.REVIEW, taken[-1], words


def _taken_back(place: AppointmentFact, state: EyeState) -> date | None:
    day, seen = place.cancelled_on, state.last_seen
    return day if day is not None and (seen is None or day > seen) else None


def _oil_kept_past_review(state: EyeState, day: date) -> Iterator[_Asked]:
    kept = keep_decision(state)
    if kept is not None and kept.review_on is not None and day > kept.review_on:
        words = f"The decision to keep the oil was to be reviewed by {kept.review_on:%-d %b %Y}."
        yield Question.OIL_REVIEW, Lane.REMOVAL, kept.review_on + timedelta(days=1), words


def _complete(state: EyeState) -> Iterator[_Asked]:
    """All planned reviews are over and none is to come: discharge, or say when to see the eye again."""
    reviews = [m for m in state.course.milestones if m.lane is Lane.REVIEW]
    if state.course.endless is None and all(not m.is_unmet or _overtaken(m, state) for m in reviews):
        done = max((m.met_on for m in reviews if m.met_on), default=state.course.anchor)
        words = "All planned reviews are done: discharge, or say when to see the eye again."
        yield Question.COMPLETE, Lane.REVIEW, done, words


def _overtaken(milestone: Milestone, state: EyeState) -> bool:
    """The eye was seen after this one's period, so it will not be asked for again."""
    ends, seen = milestone.period_ends, state.last_seen
    return ends is not None and seen is not None and ends < seen
