"""Standing by properties: one standing for every operated eye on every day, and what time alone may do."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from followup.domain.facts import EyeHistory
from followup.domain.words import (
    AppointmentState,
    Channel,
    ContactResult,
    DecisionKind,
    Lane,
    Procedure,
    Retina,
    Standing,
    Tamponade,
    TamponadeSeen,
)
from tests.domain.histories import (
    STEPS,
    attempt,
    exam,
    history,
    operation,
    place,
    report,
    signed,
    standing,
    taken_back,
)

START = date(2022, 1, 1)
some_days = st.integers(0, 1000).map(lambda n: START + timedelta(days=n))
texts = some_days.map(str)
operations = st.builds(
    lambda on, agent, out, what: operation(on, tamponade_in=agent, takes_out=out, procedures=what),
    texts,
    st.sampled_from(list(Tamponade)),
    st.booleans(),
    st.frozensets(st.sampled_from(list(Procedure)), max_size=2),
)
exams = st.builds(
    lambda on, retina, seen: exam(on, retina=retina, tamponade_seen=seen),
    texts,
    st.sampled_from(list(Retina)),
    st.sampled_from(list(TamponadeSeen)),
)
decisions = st.builds(
    lambda kind, on, ahead, accepted: signed(
        kind,
        str(on),
        review_on=str(on + timedelta(days=ahead)),
        to_whom="Harbour Eye Unit",
        accepted_on=str(on) if accepted else None,
    ),
    st.sampled_from(
        [kind for kind in DecisionKind if kind not in (DecisionKind.DIED, DecisionKind.STANDS_FOR)]
    ),
    some_days,
    st.integers(1, 300),
    st.booleans(),
)
attempts = st.builds(
    attempt,
    texts,
    st.sampled_from([*ContactResult, *[ContactResult.NO_ANSWER] * 8]),
    st.sampled_from([*Channel, *STEPS]),
)
places = st.builds(place, texts, st.sampled_from(list(Lane)))
missed_places = st.builds(lambda on: place(on, state=AppointmentState.NOSHOW), texts)
reports = st.builds(report, texts)
histories = st.builds(
    lambda first, rest: history(first, *rest),
    st.builds(lambda agent: operation(str(START), tamponade_in=agent), st.sampled_from(list(Tamponade))),
    st.lists(
        st.one_of(
            operations,
            exams,
            decisions,
            attempts,
            places,
            missed_places,
            st.builds(taken_back, texts),
            reports,
        ),
        max_size=14,
    ),
)


def without_places_ahead(told: EyeHistory) -> EyeHistory:
    over = tuple(place for place in told.appointments if not place.state.awaits_outcome)
    return replace(told, appointments=over)


later = st.integers(0, 1500).map(lambda n: START + timedelta(days=n))


@given(histories, later)
def test_an_operated_eye_is_in_exactly_one_standing_with_a_next_step(told: EyeHistory, on: date) -> None:
    found = standing(told, on)
    assert found.standing in Standing
    assert found.next_step
    assert bool(found.lanes) == (found.standing is not Standing.CLOSED)
    if found.lanes:
        assert found.leading is found.lanes[0]
        assert found.standing is min((lane.standing for lane in found.lanes), key=list(Standing).index)


ORDER = [Standing.WAITING, Standing.TO_BOOK, Standing.OVERDUE, Standing.NEEDS_DECISION]


@given(histories, st.integers(0, 400))
def test_time_alone_only_makes_an_eye_more_pressing(told: EyeHistory, days: int) -> None:
    """With nothing booked: waiting, to book, overdue, or a question whose day has come."""
    unbooked = without_places_ahead(told)
    known_by = START + timedelta(days=1001)
    now, then = standing(unbooked, known_by), standing(unbooked, known_by + timedelta(days=days))
    if Standing.CLOSED in (now.standing, then.standing):
        assert now.standing is then.standing
    else:
        assert ORDER.index(now.standing) <= ORDER.index(then.standing)


@given(histories, later)
def test_a_place_in_the_past_covers_nothing(told: EyeHistory, on: date) -> None:
    for lane in standing(told, on).lanes:
        if lane.appointment is not None:
            assert lane.appointment.day >= on
            assert lane.appointment.lane is lane.lane


@given(histories, later)
def test_taking_away_every_booking_never_takes_an_eye_out_of_the_sum(told: EyeHistory, on: date) -> None:
    unbooked = without_places_ahead(told)
    before, after = standing(told, on).standing, standing(unbooked, on).standing
    assert (before is Standing.CLOSED) == (after is Standing.CLOSED)
    assert after is not Standing.BOOKED


@given(histories)
def test_only_a_signature_or_a_death_closes_an_eye(told: EyeHistory) -> None:
    unsigned = replace(told, decisions=())
    assert standing(unsigned, START + timedelta(days=5000)).standing is not Standing.CLOSED
