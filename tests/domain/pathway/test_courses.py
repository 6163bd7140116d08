"""Where one course ends and the next begins: what each keeps, and which facts are its own."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from followup.domain.facts import EyeHistory, PathwayId, Pin
from followup.domain.pathway.book import PathwayBook
from followup.domain.pathway.definition import parse_pathway
from followup.domain.pathway.milestones import Course
from followup.domain.pathway.planner import plan_eye
from followup.domain.words import DecisionKind, Lane, Mark, Procedure, Tamponade
from tests.domain.histories import BOOK, PATHWAYS, day, exam, history, oil_in, oil_out, operation, signed

GAS = operation("2024-01-31")
OIL = oil_in("2024-01-31")


def courses(told: EyeHistory) -> tuple[Course, ...]:
    return plan_eye(told, BOOK).courses


def marks(course: Course, lane: Lane) -> dict[str, tuple[Mark, str]]:
    return {m.key: (m.mark, str(m.met_on or "")) for m in course.milestones if m.lane is lane}


def test_each_course_names_its_operation_its_anchor_and_its_end() -> None:
    repair = operation("2024-06-01")
    found = [(c.operation_id, str(c.anchor), c.superseded_on) for c in courses(history(GAS, repair))]
    assert found == [(GAS.id, "2024-01-31", day("2024-06-01")), (repair.id, "2024-06-01", None)]


def test_an_exam_on_the_day_of_a_repair_belongs_to_the_course_it_ends() -> None:
    first, second = courses(history(GAS, exam("2024-06-01"), operation("2024-06-01")))
    assert marks(first, Lane.REVIEW)["M3"] == (Mark.MET_LATE, "2024-06-01")
    assert {mark for mark, _ in marks(second, Lane.REVIEW).values()} == {Mark.OPEN}


def test_an_exam_after_a_repair_meets_nothing_of_the_course_before() -> None:
    first, second = courses(history(GAS, operation("2024-03-01"), exam("2024-05-01")))
    assert marks(first, Lane.REVIEW)["M3"] == (Mark.SUPERSEDED, "")
    assert marks(second, Lane.REVIEW)["M1"] == (Mark.MET_LATE, "2024-05-01")


def test_oil_that_outlasts_a_course_is_removed_in_the_next() -> None:
    laser = operation("2024-03-01", procedures=frozenset({Procedure.ENDOLASER}), tamponade_in=Tamponade.NONE)
    first, second, third = courses(history(OIL, laser, oil_out("2024-04-20")))
    assert marks(first, Lane.REMOVAL) == {"removal-2024-01-31": (Mark.SUPERSEDED, "")}
    assert marks(second, Lane.REMOVAL) == {"removal-2024-01-31": (Mark.MET, "2024-04-20")}
    assert marks(third, Lane.REMOVAL) == {}


def test_the_oil_of_an_exchange_is_a_matter_of_the_new_course() -> None:
    first, second = courses(history(OIL, oil_in("2024-03-01", takes_out=True)))
    assert marks(first, Lane.REMOVAL) == {"removal-2024-01-31": (Mark.MET, "2024-03-01")}
    assert marks(second, Lane.REMOVAL) == {"removal-2024-03-01": (Mark.OPEN, "")}


@pytest.mark.parametrize(("repaired", "mark"), [("2024-02-04", Mark.SUPERSEDED), ("2024-02-05", Mark.OPEN)])
def test_a_review_missed_before_a_repair_stays_missed(repaired: str, mark: Mark) -> None:
    """The period of day 1 ends on 4 February."""
    first = courses(history(GAS, operation(repaired)))[0]
    assert marks(first, Lane.REVIEW)["D1"] == (mark, "")


def test_a_visit_may_stand_for_a_review_that_was_asked_for() -> None:
    again = signed(DecisionKind.SEE_AGAIN, "2024-02-10", review_on="2024-02-20")
    key = f"see-again-{again.id}"
    stands = signed(DecisionKind.STANDS_FOR, "2024-02-29", milestone_key=key, visit_day="2024-02-12")
    (course,) = courses(history(GAS, again, stands))
    assert marks(course, Lane.REVIEW)[key] == (Mark.SIGNED, "2024-02-12")


def test_a_signature_without_a_visit_counts_from_its_own_day() -> None:
    (course,) = courses(history(GAS, signed(DecisionKind.STANDS_FOR, "2024-02-12", milestone_key="W1")))
    assert marks(course, Lane.REVIEW)["W1"] == (Mark.SIGNED, "2024-02-12")


@pytest.mark.parametrize(("pinned_to", "version"), [(GAS.id, 1), (GAS.id + 1, 2)])
def test_the_course_of_an_operation_keeps_the_version_it_follows(pinned_to: int, version: int) -> None:
    text = (PATHWAYS / "after-gas.toml").read_text()
    old, new = parse_pathway(text), parse_pathway(text.replace("version = 1", "version = 2"))
    pinned = {pinned_to: Pin(PathwayId("after-gas", 1), "another fact")}
    told = replace(history(GAS), pinned=pinned)
    (course,) = plan_eye(told, PathwayBook.of([new], retired=[old])).courses
    assert course.pathway == PathwayId("after-gas", version)


@pytest.mark.parametrize(
    ("asked", "last_opens"),
    [
        (date(2033, 1, 10), date(2033, 1, 11)),
        (date(2033, 1, 11), date(2034, 1, 11)),
        (date(2034, 1, 10), date(2034, 1, 11)),
    ],
)
def test_reviews_without_end_are_carried_on_until_one_opens_after_the_day(
    asked: date, last_opens: date
) -> None:
    course = courses(history(OIL, oil_out("2025-02-10")))[-1]
    assert course.milestones_by(asked)[-1].opens == last_opens


def test_what_was_asked_for_beside_the_pathway_is_carried_on_with_it() -> None:
    again = signed(DecisionKind.SEE_AGAIN, "2024-02-10", review_on="2024-02-20")
    (course,) = courses(history(OIL, again))
    beside = [f"see-again-{again.id}", "removal-2024-01-31"]
    planned = ["D1", "W1", "M1", "M3", "M6", "M12", "M24", "Y-1", "Y-2", "Y-3"]
    assert [m.key for m in course.milestones_by(day("2028-06-01"))] == [*planned, *beside]


def test_reviews_without_end_are_carried_on_from_the_last_that_was_planned() -> None:
    course = courses(history(OIL, oil_out("2025-02-10")))[-1]
    last = course.milestones[-1]
    assert course.milestones_by(last.opens - (last.target - last.opens)) == course.milestones
    carried_on = course.milestones_by(last.opens)
    assert [m.key for m in carried_on] == [m.key for m in course.milestones] + [carried_on[-1].key]
    assert carried_on[-1].opens > last.opens
