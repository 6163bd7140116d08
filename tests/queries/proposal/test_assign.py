"""The solver against every possible assignment, and the rules that none of its answers may break."""

from __future__ import annotations

from datetime import timedelta
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from followup.queries.proposal.assign import Due, Slot, Want, assign, total_cost
from tests.builders import TODAY, days

KINDS = ("clinic", "theatre")


@st.composite
def dues(draw: st.DrawFn) -> Due:
    opens = TODAY + timedelta(days=draw(st.integers(-20, 20)))
    target = opens + timedelta(days=draw(st.integers(0, 7)))
    return Due(opens, target, target + timedelta(days=draw(st.integers(0, 7))))


@st.composite
def wants(draw: st.DrawFn) -> Want:
    away = draw(st.one_of(st.none(), st.integers(0, 30)))
    return Want(
        patient=draw(st.integers(1, 3)),
        kind=draw(st.sampled_from(KINDS)),
        dues=tuple(draw(st.lists(dues(), min_size=1, max_size=2))),
        weight=draw(st.sampled_from([1, 2, 4, 8, 16])),
        away=((days(away), days(away + 5)),) if away is not None else (),
    )


@st.composite
def slots(draw: st.DrawFn) -> list[Slot]:
    rows = draw(
        st.lists(
            st.tuples(st.integers(0, 40), st.sampled_from(KINDS), st.integers(0, 2)), min_size=0, max_size=3
        )
    )
    return [Slot(number, days(day), kind, places) for number, (day, kind, places) in enumerate(rows)]


def is_allowed(asked: list[Want], taken: tuple[Slot | None, ...]) -> bool:
    pairs = [(want, slot) for want, slot in zip(asked, taken, strict=True) if slot is not None]
    held = [slot.session for _, slot in pairs]
    return (
        all(want.may_take(slot) for want, slot in pairs)
        and all(held.count(slot.session) <= slot.places for _, slot in pairs)
        and len({(want.patient, slot.session) for want, slot in pairs}) == len(pairs)
    )


@given(asked=st.lists(wants(), max_size=5), offered=slots())
@settings(max_examples=300, deadline=None)
def test_no_answer_breaks_a_rule(asked: list[Want], offered: list[Slot]) -> None:
    assert is_allowed(asked, tuple(assign(asked, offered)))


@given(asked=st.lists(wants(), max_size=5, unique_by=lambda want: want.patient), offered=slots())
@settings(max_examples=300, deadline=None)
def test_no_assignment_at_all_costs_less(asked: list[Want], offered: list[Slot]) -> None:
    tried = product([None, *offered], repeat=len(asked))
    least = min(total_cost(asked, taken) for taken in tried if is_allowed(asked, taken))
    assert total_cost(asked, assign(asked, offered)) == pytest.approx(least, abs=1e-9)


def due(opens: int, closes: int) -> Due:
    return Due(days(opens), days((opens + closes) // 2), days(closes))


CLINIC = Slot(1, days(7), "clinic", 1)


@pytest.mark.parametrize(
    ("first", "second", "winner"),
    [
        (Want(1, "clinic", (due(0, 14),)), Want(2, "clinic", (due(-20, -5),), weight=8), 1),
        (Want(1, "clinic", (due(-9, -2),)), Want(2, "clinic", (due(-9, -2), due(-9, -2))), 1),
        (Want(1, "clinic", (due(0, 14),)), Want(2, "theatre", (due(-9, -2),), weight=16), 0),
        (Want(1, "clinic", (due(0, 14),)), Want(2, "clinic", (due(8, 14),), weight=16), 0),
        (
            Want(1, "clinic", (due(0, 14),)),
            Want(2, "clinic", (due(-9, -2),), weight=16, away=((days(6), days(7)),)),
            0,
        ),
        (
            Want(1, "clinic", (due(0, 14),)),
            Want(2, "clinic", (due(-9, -2),), weight=16, not_in=frozenset({1})),
            0,
        ),
    ],
    ids=[
        "the more pressing",
        "both eyes of a person before one",
        "theatre takes no clinic's place",
        "nobody before the window opens",
        "nobody on a day when they cannot come",
        "nobody twice in one session",
    ],
)
def test_who_gets_the_only_place(first: Want, second: Want, winner: int) -> None:
    taken = assign([first, second], [CLINIC])
    assert [slot is not None for slot in taken] == [winner == 0, winner == 1]


def test_the_flexible_one_gives_way_to_the_one_with_a_single_day() -> None:
    early, late = Slot(1, days(3), "clinic", 1), Slot(2, days(9), "clinic", 1)
    flexible, tight = Want(1, "clinic", (due(0, 12),)), Want(2, "clinic", (due(0, 4),))
    assert assign([flexible, tight], [early, late]) == [late, early]


def test_of_places_without_delay_the_one_nearest_the_target_is_taken() -> None:
    places = [Slot(number, days(day), "clinic", 1) for number, day in enumerate((1, 6, 13))]
    assert assign([Want(1, "clinic", (due(0, 14),))], places) == [places[1]]


def test_two_operations_of_one_person_are_in_two_sessions() -> None:
    places = [Slot(1, days(7), "theatre", 2), Slot(2, days(9), "theatre", 2)]
    both = [Want(1, "theatre", (due(0, 14),)) for _ in range(2)]
    assert assign(both, places) == places


@pytest.mark.parametrize("offered", [[], [Slot(1, days(7), "clinic", 0)]], ids=["no session", "a full one"])
def test_without_places_nobody_has_one(offered: list[Slot]) -> None:
    assert assign([Want(1, "clinic", (due(0, 14),))], offered) == [None]
    assert assign([], offered) == []
