"""The days on which a standing turns, and how a closed eye is told. Windows: the shipped pathways."""

from __future__ import annotations

import pytest

from followup.domain.facts import EyeHistory
from followup.domain.words import DecisionKind, Lane, Standing
from tests.domain.histories import day, exam, history, oil_in, oil_out, operation, place, signed, standing

GAS = operation("2024-01-31")
OIL = oil_in("2024-01-31")
DONE = history(
    GAS, *(exam(on) for on in ("2024-02-01", "2024-02-07", "2024-04-30", "2025-01-31", "2026-01-31"))
)
LOST = history(OIL, oil_out("2025-02-10"))

TURNS: list[tuple[str, EyeHistory, str, str, str]] = [
    ("the last day of a period", history(GAS), "2024-02-04", "D1", "2024-02-02"),
    ("the first day of the next", history(GAS), "2024-02-05", "W1", "2024-02-02"),
    (
        "the last review signed off, the others never met",
        history(GAS, signed(DecisionKind.STANDS_FOR, "2026-02-01", milestone_key="M24")),
        "2026-03-01",
        "M12",
        "2024-02-02",
    ),
    ("reviews without end, the last day before one opens", LOST, "2034-01-10", "Y-6", "2025-02-12"),
    ("reviews without end, the day one opens", LOST, "2034-01-11", "Y-7", "2025-02-12"),
]


@pytest.mark.parametrize(
    ("told", "on", "key", "since"), [row[1:] for row in TURNS], ids=[row[0] for row in TURNS]
)
def test_what_an_overdue_eye_waits_for_and_since_when(
    told: EyeHistory, on: str, key: str, since: str
) -> None:
    leading = standing(told, on).leading
    assert leading is not None
    assert leading.milestone is not None
    assert (leading.standing, leading.milestone.key, str(leading.since)) == (Standing.OVERDUE, key, since)


def test_all_reviews_done_is_a_question() -> None:
    assert standing(DONE, "2026-03-01").next_step == (
        "All planned reviews are done: discharge, or say when to see the eye again."
    )


def test_a_lane_without_a_review_says_so() -> None:
    reviews = [lane for lane in standing(DONE, "2026-03-01").lanes if lane.milestone is None]
    assert [lane.next_step for lane in reviews[1:]] == ["No review is planned."]


def test_no_place_is_taken_for_a_review_that_is_not_planned() -> None:
    booked = history(*DONE.operations, *DONE.exams, place("2026-04-01"))
    assert [lane.appointment for lane in standing(booked, "2026-03-01").lanes] == [None, None]


def test_oil_past_its_limit_without_a_place_says_no_more_than_that() -> None:
    told = history(OIL, exam("2024-02-01"), exam("2024-02-29"), exam("2024-04-29"))
    assert standing(told, "2024-05-01").next_step == "Oil removal: past its limit since 30 Apr 2024."


def test_a_place_in_theatre_on_the_last_day_is_in_time() -> None:
    told = history(OIL, exam("2024-02-01"), exam("2024-02-29"), place("2024-04-30", Lane.REMOVAL))
    removal = [lane for lane in standing(told, "2024-04-01").lanes if lane.lane is Lane.REMOVAL]
    assert [(lane.standing, lane.booked_late) for lane in removal] == [(Standing.BOOKED, False)]


def test_a_discharge_signed_on_the_day_of_surgery_closes_the_eye() -> None:
    told = history(GAS, signed(DecisionKind.DISCHARGE, "2024-01-31"))
    assert standing(told, "2024-02-01").standing is Standing.CLOSED


@pytest.mark.parametrize(("on", "missed"), [("2024-02-04", 0), ("2024-02-05", 1), ("2024-02-22", 2)])
def test_a_review_is_missed_from_the_day_after_its_period(on: str, missed: int) -> None:
    assert standing(history(GAS), on).missed == missed


def test_oil_kept_by_a_signature_of_the_day_it_was_put_in() -> None:
    told = history(OIL, signed(DecisionKind.KEEP_OIL, "2024-01-31", review_on="2024-07-31"))
    removal = [lane for lane in standing(told, "2024-05-01").lanes if lane.lane is Lane.REMOVAL]
    assert [lane.next_step for lane in removal] == ["Oil kept by decision; review it by 31 Jul 2024."]


@pytest.mark.parametrize(
    ("told", "sentence", "since"),
    [
        (history(GAS, died_on=day("2024-04-01")), "Died.", "2024-04-01"),
        (history(GAS, signed(DecisionKind.DISCHARGE, "2024-03-01")), "Discharge.", "2024-03-01"),
        (
            history(
                GAS,
                signed(
                    DecisionKind.TRANSFER, "2024-03-01", to_whom="Harbour Eye Unit", accepted_on="2024-03-05"
                ),
            ),
            "Transfer to Harbour Eye Unit.",
            "2024-03-01",
        ),
    ],
)
def test_a_closed_eye_says_why_and_since_when(told: EyeHistory, sentence: str, since: str) -> None:
    found = standing(told, "2024-05-01")
    assert (found.standing, found.next_step, str(found.since)) == (Standing.CLOSED, sentence, since)
    assert (found.lanes, found.leading, found.missed) == ((), None, 0)
