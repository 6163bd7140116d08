"""Fills, told as operations and exams; each row gives every fill: agent, placed, first placed, ended."""

from __future__ import annotations

from datetime import date
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.domain.facts import EyeHistory
from followup.domain.fills import derive_fills, fill_before, open_fill
from followup.domain.words import Procedure, Tamponade, TamponadeSeen
from tests.domain.histories import day, exam, history, oil_in, oil_out, operation

LASER = frozenset({Procedure.RETINAL_LASER})
IN, LATER, OUT = "2024-01-31", "2024-04-20", "2024-07-20"

STORIES = [
    ("oil put in", history(oil_in(IN)), [("oil_1000", IN, IN, None)]),
    ("oil put in and taken out", history(oil_in(IN), oil_out(OUT)), [("oil_1000", IN, IN, OUT)]),
    (
        "an exchange keeps the first insertion of the unbroken stay",
        history(oil_in(IN), oil_in(LATER, takes_out=True, tamponade_in=Tamponade.OIL_5000)),
        [("oil_1000", IN, IN, LATER), ("oil_5000", LATER, IN, None)],
    ),
    (
        "oil in again after a time without is a new stay",
        history(oil_in(IN), oil_out(LATER), oil_in(OUT)),
        [("oil_1000", IN, IN, LATER), ("oil_1000", OUT, OUT, None)],
    ),
    (
        "heavy liquid replaced by oil is a new stay of oil",
        history(operation(IN, tamponade_in=Tamponade.HEAVY_LIQUID), oil_in("2024-02-10", takes_out=True)),
        [("heavy_liquid", IN, IN, "2024-02-10"), ("oil_1000", "2024-02-10", "2024-02-10", None)],
    ),
    (
        "gas that nobody has seen gone is still there",
        history(operation(IN), exam("2024-06-01")),
        [("sf6", IN, IN, None)],
    ),
    (
        "gas seen to be gone",
        history(operation(IN), exam("2024-02-20", tamponade_seen=TamponadeSeen.NONE)),
        [("sf6", IN, IN, "2024-02-20")],
    ),
    (
        "a bubble once gone is not gone again at the next exam",
        history(
            operation(IN),
            exam("2024-02-20", tamponade_seen=TamponadeSeen.NONE),
            exam("2024-03-20", tamponade_seen=TamponadeSeen.NONE),
        ),
        [("sf6", IN, IN, "2024-02-20")],
    ),
    (
        "an exam on the day of the operation came before it",
        history(operation(IN), exam(IN, tamponade_seen=TamponadeSeen.NONE)),
        [("sf6", IN, IN, None)],
    ),
    (
        "an exam cannot end oil",
        history(oil_in(IN), exam("2024-02-20", tamponade_seen=TamponadeSeen.NONE)),
        [("oil_1000", IN, IN, None)],
    ),
    (
        "gas added to oil that nobody took out: the oil is still there",
        history(oil_in(IN), operation(LATER)),
        [("oil_1000", IN, IN, None)],
    ),
    (
        "oil on oil without taking out is one unbroken stay",
        history(oil_in(IN), oil_in(LATER)),
        [("oil_1000", IN, IN, LATER), ("oil_1000", LATER, IN, None)],
    ),
    (
        "taking out where nothing is on record ends nothing",
        history(oil_out(IN)),
        [],
    ),
    (
        "unknown after retinal surgery stays unknown",
        history(operation(IN, tamponade_in=Tamponade.UNKNOWN)),
        [("unknown", IN, IN, None)],
    ),
    (
        "unknown after clinic laser means nobody asked",
        history(operation(IN, tamponade_in=Tamponade.UNKNOWN, procedures=LASER)),
        [],
    ),
    (
        "unknown, then oil seen: it is oil since then",
        history(
            operation(IN, tamponade_in=Tamponade.UNKNOWN),
            exam("2024-02-20", tamponade_seen=TamponadeSeen.OIL),
        ),
        [("oil", IN, IN, None)],
    ),
    (
        "two operations on one day act in the order entered",
        history(oil_in(IN), oil_out(LATER), operation(LATER)),
        [("oil_1000", IN, IN, LATER), ("sf6", LATER, LATER, None)],
    ),
]


@pytest.mark.parametrize(("told", "expected"), [s[1:] for s in STORIES], ids=[s[0] for s in STORIES])
def test_the_fills_are_what_the_story_tells(
    told: EyeHistory, expected: list[tuple[str, str, str, str | None]]
) -> None:
    fills = derive_fills(told.operations, told.exams)
    found = [
        (
            fill.tamponade.value,
            str(fill.placed_on),
            str(fill.first_placed_on),
            fill.ended_on and str(fill.ended_on),
        )
        for fill in fills
    ]
    assert found == expected


def test_days_are_counted_from_this_fill_and_from_the_first_insertion() -> None:
    told = history(oil_in(IN), oil_in(LATER, takes_out=True))
    fill = open_fill(derive_fills(told.operations, told.exams))
    assert fill is not None
    assert (fill.days_in_eye(day("2024-05-01")), fill.days_since_first(day("2024-05-01"))) == (11, 91)


def test_a_fill_names_the_operation_that_placed_it_and_the_one_that_took_it_out() -> None:
    placing, exchange = oil_in(IN), oil_in(LATER, takes_out=True)
    fills = derive_fills([placing, exchange], [])
    assert [(fill.placed_by, fill.ended_by) for fill in fills] == [
        (placing.id, exchange.id),
        (exchange.id, None),
    ]


def test_a_bubble_seen_to_be_gone_on_the_morning_of_an_operation_was_not_there_when_it_began() -> None:
    told = history(operation(IN), exam(LATER, tamponade_seen=TamponadeSeen.NONE), oil_in(LATER))
    assert fill_before(told.operations, told.exams, day(LATER)) is None


def test_what_was_in_the_eye_when_an_operation_began() -> None:
    told = history(oil_in(IN), oil_out(OUT))
    before = fill_before(told.operations, told.exams, day(OUT))
    assert before is not None
    assert before.tamponade is Tamponade.OIL_1000
    assert fill_before(told.operations, told.exams, day("2024-08-01")) is None
    assert fill_before(told.operations, told.exams, day(IN)) is None


days_of_a_year = st.integers(0, 400).map(lambda n: str(date.fromordinal(date(2024, 1, 1).toordinal() + n)))
operations = st.builds(
    lambda on, agent, out: operation(on, tamponade_in=agent, takes_out=out),
    days_of_a_year,
    st.sampled_from(list(Tamponade)),
    st.booleans(),
)
exams = st.builds(
    lambda on, seen: exam(on, tamponade_seen=seen), days_of_a_year, st.sampled_from(list(TamponadeSeen))
)


@given(st.lists(st.one_of(operations, exams), max_size=12))
def test_whatever_happened_at_most_one_fill_is_open_and_none_overlap(facts: list[object]) -> None:
    told = history(*facts)
    fills = derive_fills(told.operations, told.exams)
    assert sum(fill.is_open for fill in fills) <= 1
    for before, after in pairwise(fills):
        assert before.ended_on is not None
        assert before.placed_on <= before.ended_on <= after.placed_on
    assert all(fill.first_placed_on <= fill.placed_on for fill in fills)


@given(st.lists(st.one_of(operations, exams), max_size=12))
def test_oil_leaves_only_by_an_operation(facts: list[object]) -> None:
    told = history(*facts)
    for fill in derive_fills(told.operations, told.exams):
        if fill.must_come_out and not fill.is_open:
            assert fill.ended_by is not None
