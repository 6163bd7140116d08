"""A past day asked about in two ways: as known then, and as known now."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from followup.domain.facts import ExamFact, EyeHistory, EyeTraits, Known, OperationFact, PathwayId, Pin
from followup.domain.record import EyeRecord
from followup.domain.standing import EyeStanding
from followup.domain.words import DecisionKind, Retina, Side, Standing, Tamponade
from tests.domain.histories import attempt, day, exam, oil_in, operation, place, report, signed, standing

GAS = replace(operation("2024-01-31"), known=Known(since=day("2024-01-31")))
SEEN_LATE_ENTERED = replace(exam("2024-02-07"), known=Known(since=day("2024-03-01")))
SEEN = replace(exam("2024-02-01"), known=Known(since=day("2024-02-01")))


def record(*facts: object) -> EyeRecord:
    return EyeRecord(
        eye_id=1,
        traits=(EyeTraits(),),
        operations=tuple(fact for fact in facts if isinstance(fact, OperationFact)),
        exams=tuple(sorted((f for f in facts if isinstance(f, ExamFact)), key=lambda seen: seen.day)),
    )


def as_known_then(told: EyeRecord, on: str) -> EyeStanding:
    return standing(told.known_on(day(on)), on)


def as_known_now(told: EyeRecord, on: str) -> EyeStanding:
    return standing(told.known_now(), on)


def test_a_visit_entered_late_changes_what_is_known_now_and_not_what_was_known_then() -> None:
    told = record(GAS, SEEN, SEEN_LATE_ENTERED)
    assert as_known_then(told, "2024-02-12").standing is Standing.OVERDUE
    assert as_known_now(told, "2024-02-12").standing is Standing.TO_BOOK


def test_an_entry_taken_back_still_counts_for_the_days_on_which_it_was_believed() -> None:
    wrong = replace(exam("2024-02-07"), known=Known(day("2024-02-07"), day("2024-02-20")))
    told = record(GAS, SEEN, wrong)
    assert as_known_then(told, "2024-02-12").standing is Standing.TO_BOOK
    assert as_known_then(told, "2024-02-20").standing is Standing.OVERDUE
    assert as_known_now(told, "2024-02-12").standing is Standing.OVERDUE


def test_a_corrected_operation_is_told_by_the_value_of_the_day() -> None:
    first = oil_in("2024-01-31")
    as_oil = replace(first, known=Known(day("2024-01-31"), day("2024-05-10")))
    as_gas = replace(first, tamponade_in=Tamponade.SF6, known=Known(since=day("2024-05-10")))
    seen = [
        replace(exam(on), known=Known(since=day(on)))
        for on in ("2024-02-01", "2024-02-07", "2024-02-29", "2024-05-02")
    ]
    told = record(as_oil, as_gas, *seen)
    assert "Oil removal" in as_known_then(told, "2024-05-05").next_step
    assert "Month 6" in as_known_now(told, "2024-05-05").next_step


THEN, NOW = Known(until=day("2024-05-10")), Known(since=day("2024-05-10"))


def test_every_kind_of_fact_is_told_by_the_version_of_the_day() -> None:
    pinned = {GAS.id: Pin(PathwayId("after-gas", 1), "fact")}
    versions_of = {
        "operations": operation("2024-01-31"),
        "exams": exam("2024-02-01"),
        "appointments": place("2024-06-01"),
        "decisions": signed(DecisionKind.PLAN, "2024-02-01"),
        "attempts": attempt("2024-02-01"),
        "reports": report("2024-02-01"),
    }
    then = {name: replace(fact, known=THEN) for name, fact in versions_of.items()}
    now = {name: replace(fact, known=NOW) for name, fact in versions_of.items()}
    traits = (EyeTraits(known=THEN), EyeTraits(only_eye=True, known=NOW))
    told = EyeRecord(
        eye_id=7, traits=traits, pinned=pinned, **{name: (then[name], now[name]) for name in versions_of}
    )
    assert told.known_on(day("2024-05-09")) == EyeHistory(
        eye_id=7, traits=traits[0], pinned=pinned, **{name: (fact,) for name, fact in then.items()}
    )
    assert told.known_now() == EyeHistory(
        eye_id=7, traits=traits[1], pinned=pinned, **{name: (fact,) for name, fact in now.items()}
    )


def test_before_anything_was_known_of_an_eye_there_is_its_side() -> None:
    left = EyeTraits(side=Side.LEFT, only_eye=True, known=NOW)
    assert EyeRecord(eye_id=7, traits=(left,)).known_on(day("2024-05-09")) == EyeHistory(
        eye_id=7, traits=EyeTraits(side=Side.LEFT)
    )


START = date(2024, 1, 1)
offsets = st.integers(0, 400)


@st.composite
def versions(draw: st.DrawFn) -> ExamFact | OperationFact:
    """A fact that happened, was entered that day or later, and may have been taken back since."""
    happened = START + timedelta(days=draw(offsets))
    since = happened + timedelta(days=draw(st.integers(0, 90)))
    until = draw(st.none() | st.integers(1, 200).map(lambda n: since + timedelta(days=n)))
    fact = draw(
        st.sampled_from(
            [exam(str(happened), retina=Retina.ATTACHED), operation(str(happened)), oil_in(str(happened))]
        )
    )
    return replace(fact, known=Known(since, until))


FIRST = replace(operation(str(START)), known=Known(since=START))


@given(st.lists(versions(), max_size=10), offsets)
def test_what_is_entered_or_taken_back_later_never_changes_what_was_known_then(
    facts: list[object], offset: int
) -> None:
    on = START + timedelta(days=offset)
    by_then = [
        replace(
            fact,
            known=Known(
                fact.known.since, fact.known.until if fact.known.until and fact.known.until <= on else None
            ),
        )
        for fact in facts
        if fact.known.since <= on
    ]
    assert _standing_then(record(FIRST, *facts), on) == _standing_then(record(FIRST, *by_then), on)


def _standing_then(told: EyeRecord, on: date) -> EyeStanding:
    return standing(told.known_on(on), on)


@given(st.lists(versions(), max_size=10), offsets)
def test_once_all_is_entered_then_and_now_agree(facts: list[object], offset: int) -> None:
    """On a day after the last entry, both questions have one answer."""
    on = START + timedelta(days=900 + offset)
    told = record(FIRST, *facts)
    assert standing(told.known_on(on), on) == standing(told.known_now(), on)
