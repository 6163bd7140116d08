"""Courses, windows and marks, by the date and state tests of the trade and by properties.

Intervals and windows: the shipped pathways (common practice, no source). Dates: calendar arithmetic.
"""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.domain.facts import EyeHistory
from followup.domain.pathway.book import PathwayBook
from followup.domain.pathway.definition import parse_pathway
from followup.domain.pathway.planner import plan_eye
from followup.domain.words import (
    DecisionKind,
    Indication,
    Lane,
    Mark,
    Procedure,
    Tamponade,
    TamponadeKind,
    YesNo,
)
from tests.domain.histories import BOOK, day, exam, history, oil_in, oil_out, operation, signed
from tests.domain.histories import PATHWAYS as PATHWAYS_FOLDER


def targets(told: EyeHistory, *keys: str) -> list[str]:
    plan = plan_eye(told, BOOK)
    assert plan.current is not None
    by_key = {m.key: str(m.target) for m in plan.current.milestones}
    return [by_key[key] for key in keys]


@pytest.mark.parametrize(
    ("anchor", "month_1", "month_3", "month_12", "month_24"),
    [
        ("2024-01-31", "2024-02-29", "2024-04-30", "2025-01-31", "2026-01-31"),
        ("2023-11-30", "2023-12-30", "2024-02-29", "2024-11-30", "2025-11-30"),
        ("2024-08-31", "2024-09-30", "2024-11-30", "2025-08-31", "2026-08-31"),
        ("2024-02-29", "2024-03-29", "2024-05-29", "2025-02-28", "2026-02-28"),
    ],
)
def test_months_count_from_the_anchor_and_clamp(
    anchor: str, month_1: str, month_3: str, month_12: str, month_24: str
) -> None:
    found = targets(history(operation(anchor)), "M1", "M3", "M12", "M24")
    assert found == [month_1, month_3, month_12, month_24]


def marks(told: EyeHistory) -> dict[str, tuple[Mark, str]]:
    """Marks of the first course by key, with the day met."""
    course = plan_eye(told, BOOK).courses[0]
    return {m.key: (m.mark, str(m.met_on or "")) for m in course.milestones}


OIL = oil_in("2024-01-31")


def test_oil_out_in_time_meets_the_removal_and_supersedes_what_was_to_come() -> None:
    found = marks(history(OIL, exam("2024-02-01"), exam("2024-02-29"), oil_out("2024-04-20")))
    assert found["D1"] == (Mark.MET, "2024-02-01")
    assert found["W1"] == (Mark.OPEN, "")
    assert found["M1"] == (Mark.MET, "2024-02-29")
    assert found["M3"] == (Mark.SUPERSEDED, "")
    assert found["removal-2024-01-31"] == (Mark.MET, "2024-04-20")


@pytest.mark.parametrize(
    ("out", "mark"), [("2024-03-01", Mark.MET), ("2024-04-30", Mark.MET), ("2024-05-01", Mark.MET_LATE)]
)
def test_a_removal_is_on_time_until_its_last_day(out: str, mark: Mark) -> None:
    assert marks(history(OIL, oil_out(out)))["removal-2024-01-31"] == (mark, out)


@pytest.mark.parametrize(
    ("seen", "mark"),
    [
        ("2024-02-21", {"W1": Mark.MET_LATE, "M1": Mark.OPEN}),
        ("2024-02-22", {"W1": Mark.OPEN, "M1": Mark.MET}),
        ("2024-03-14", {"W1": Mark.OPEN, "M1": Mark.MET}),
        ("2024-03-15", {"W1": Mark.OPEN, "M1": Mark.MET_LATE}),
        ("2024-04-15", {"M1": Mark.MET_LATE, "M3": Mark.OPEN}),
        ("2024-04-16", {"M1": Mark.OPEN, "M3": Mark.MET}),
    ],
)
def test_a_visit_meets_the_milestone_whose_period_it_falls_in(seen: str, mark: dict[str, Mark]) -> None:
    found = marks(history(operation("2024-01-31"), exam(seen)))
    assert {key: found[key][0] for key in mark} == mark


PATHWAYS = [
    ("gas", history(operation("2024-01-31")), "after-gas"),
    ("nothing left inside", history(operation("2024-01-31", tamponade_in=Tamponade.NONE)), "after-gas"),
    ("oil", history(OIL), "oil-in-place"),
    ("heavy liquid", history(operation("2024-01-31", tamponade_in=Tamponade.HEAVY_LIQUID)), "heavy-liquid"),
    ("after oil removal", history(OIL, oil_out("2024-04-20")), "after-oil-removal"),
    (
        "oil left in at a second operation",
        history(OIL, operation("2024-03-01", tamponade_in=Tamponade.NONE)),
        "oil-in-place",
    ),
    ("oil in a highly myopic eye", history(OIL, axial_length_mm=29.0), "oil-in-place"),
    (
        "oil out of a highly myopic eye",
        history(OIL, oil_out("2024-04-20"), axial_length_mm=29.0),
        "high-myopia",
    ),
    (
        "just below the mark of high myopia",
        history(operation("2024-01-31"), axial_length_mm=25.99),
        "after-gas",
    ),
    ("at the mark of high myopia", history(operation("2024-01-31"), axial_length_mm=26.0), "high-myopia"),
    ("staphyloma", history(operation("2024-01-31"), staphyloma=YesNo.YES), "high-myopia"),
    ("macular-hole detachment", history(operation("2024-01-31", indication=Indication.MHRD)), "high-myopia"),
    (
        "buckle alone",
        history(
            operation(
                "2024-01-31", tamponade_in=Tamponade.NONE, procedures=frozenset({Procedure.SCLERAL_BUCKLE})
            )
        ),
        "buckle",
    ),
    (
        "buckle and vitrectomy on one day",
        history(
            operation(
                "2024-01-31", procedures=frozenset({Procedure.SCLERAL_BUCKLE}), tamponade_in=Tamponade.NONE
            ),
            operation("2024-01-31"),
        ),
        "buckle",
    ),
    (
        "lens surgery first of all still starts a course",
        history(
            operation(
                "2024-01-31", procedures=frozenset({Procedure.LENS_SURGERY}), tamponade_in=Tamponade.NONE
            )
        ),
        "after-gas",
    ),
]


@pytest.mark.parametrize(("told", "key"), [p[1:] for p in PATHWAYS], ids=[p[0] for p in PATHWAYS])
def test_the_operation_chooses_its_pathway(told: EyeHistory, key: str) -> None:
    current = plan_eye(told, BOOK).current
    assert current is not None
    assert current.pathway.key == key


def test_an_old_course_never_changes_its_anchor() -> None:
    told = history(OIL, oil_out("2024-04-20"))
    assert [course.anchor for course in plan_eye(told, BOOK).courses] == [
        day("2024-01-31"),
        day("2024-04-20"),
    ]


def test_heavy_liquid_always_has_a_limit_even_beside_a_pathway_without_one() -> None:
    gas_only = history(OIL, operation("2024-02-10", restarts=True, tamponade_in=Tamponade.GAS))
    current = plan_eye(gas_only, BOOK).current
    assert current is not None
    removal = [m for m in current.milestones if m.lane is Lane.REMOVAL]
    assert [(m.opens, m.closes) for m in removal] == [(day("2024-03-31"), day("2024-04-30"))]


@pytest.mark.parametrize(
    ("counts_from", "window"),
    [("fill", ("2024-06-20", "2024-07-20")), ("first-insertion", ("2024-03-31", "2024-04-30"))],
)
def test_after_an_exchange_a_removal_counts_from_this_fill_or_from_the_first(
    counts_from: str, window: tuple[str, str]
) -> None:
    text = (PATHWAYS_FOLDER / "oil-in-place.toml").read_text()
    oil = parse_pathway(text.replace('counts_from = "fill"', f'counts_from = "{counts_from}"'))
    gas = parse_pathway((PATHWAYS_FOLDER / "after-gas.toml").read_text())
    told = history(OIL, oil_in("2024-04-20", takes_out=True))
    current = plan_eye(told, PathwayBook.of([oil, gas])).current
    assert current is not None
    removal = [m for m in current.milestones if m.lane is Lane.REMOVAL]
    assert [(m.key, str(m.opens), str(m.closes)) for m in removal] == [("removal-2024-04-20", *window)]


@pytest.mark.parametrize(
    ("asked_for", "window"),
    [
        ("2024-03-01", ("2024-03-01", "2024-03-01", "2024-03-02")),
        ("2024-03-02", ("2024-03-01", "2024-03-02", "2024-03-03")),
        ("2024-03-09", ("2024-03-08", "2024-03-09", "2024-03-10")),
        ("2024-03-10", ("2024-03-08", "2024-03-10", "2024-03-12")),
        ("2024-07-18", ("2024-06-20", "2024-07-18", "2024-08-15")),
        ("2025-02-28", ("2025-01-31", "2025-02-28", "2025-03-28")),
    ],
    ids=["tomorrow", "in two days", "in nine days", "in ten days", "in 140 days", "in a year"],
)
def test_seen_again_as_asked_may_be_a_fifth_of_the_time_early_or_late(
    asked_for: str, window: tuple[str, str, str]
) -> None:
    """A day at least, four weeks at most; never on the day it was asked."""
    told = history(operation("2024-01-31"), signed(DecisionKind.SEE_AGAIN, "2024-02-29", review_on=asked_for))
    current = plan_eye(told, BOOK).current
    assert current is not None
    again = [m for m in current.milestones if m.one_off]
    assert [(m.lane, m.title) for m in again] == [(Lane.REVIEW, "See again as asked")]
    assert [(str(m.opens), str(m.target), str(m.closes)) for m in again] == [window]
    assert again[0].period_ends is None


@pytest.mark.parametrize("asked_for", [None, "2024-02-29", "2024-02-28"])
def test_to_be_seen_again_on_no_day_to_come_adds_nothing(asked_for: str | None) -> None:
    told = history(operation("2024-01-31"), signed(DecisionKind.SEE_AGAIN, "2024-02-29", review_on=asked_for))
    current = plan_eye(told, BOOK).current
    assert current is not None
    assert not any(m.one_off for m in current.milestones)


# Properties over random histories

some_days = st.integers(0, 1200).map(lambda n: str(date(2022, 1, 1) + timedelta(days=n)))
some_operations = st.builds(
    lambda on, agent, out, what: operation(on, tamponade_in=agent, takes_out=out, procedures=what),
    some_days,
    st.sampled_from(list(Tamponade)),
    st.booleans(),
    st.frozensets(st.sampled_from(list(Procedure)), max_size=2),
)
some_exams = st.builds(exam, some_days)
some_facts = st.lists(st.one_of(some_operations, some_exams), min_size=1, max_size=14)


@given(some_facts)
def test_an_operated_eye_always_has_one_open_course_and_windows_in_order(facts: list[object]) -> None:
    told = history(*facts)
    plan = plan_eye(told, BOOK)
    assert bool(plan.courses) == bool(told.operations)
    assert [course.superseded_on is None for course in plan.courses] == [False] * (len(plan.courses) - 1) + [
        True
    ] * bool(plan.courses)
    for course in plan.courses:
        reviews = [m for m in course.milestones if m.lane is Lane.REVIEW and not m.one_off]
        for milestone in course.milestones:
            assert milestone.opens <= milestone.target <= milestone.closes
        for before, after in pairwise(reviews):
            assert before.period_ends == after.opens - timedelta(days=1)
        assert reviews[-1].period_ends is None


@given(some_facts)
def test_the_open_fill_that_must_come_out_always_has_its_removal_milestone(facts: list[object]) -> None:
    plan = plan_eye(history(*facts), BOOK)
    holds = [
        fill
        for fill in plan.fills
        if fill.is_open and fill.tamponade.kind in (TamponadeKind.OIL, TamponadeKind.HEAVY_LIQUID)
    ]
    awaited = (
        [m for m in plan.current.milestones if m.lane is Lane.REMOVAL and m.is_unmet] if plan.current else []
    )
    assert len(awaited) == len(holds)


@given(some_facts, st.randoms())
def test_the_plan_does_not_depend_on_the_order_of_entry(facts: list[object], random: object) -> None:
    told = history(*facts)
    shuffled = list(facts)
    random.shuffle(shuffled)
    assert plan_eye(history(*shuffled), BOOK) == plan_eye(told, BOOK)


@given(some_facts)
def test_each_exam_meets_at_most_one_review_of_the_pathway(facts: list[object]) -> None:
    for course in plan_eye(history(*facts), BOOK).courses:
        met = [m.met_on for m in course.milestones if m.lane is Lane.REVIEW and m.met_on and not m.one_off]
        assert len(met) == len(set(met))
