"""The days on which a standing turns, each told by its whole sentence. Windows: the shipped pathways."""

from __future__ import annotations

import pytest

from followup.domain.facts import EyeHistory
from followup.domain.words import DecisionKind, Lane, Standing
from tests.domain.histories import day, exam, history, oil_in, oil_out, operation, signed, standing

GAS = operation("2024-01-31")
OIL = oil_in("2024-01-31")
DONE = history(
    GAS, *(exam(on) for on in ("2024-02-01", "2024-02-07", "2024-04-30", "2025-01-31", "2026-01-31"))
)
LOST = history(OIL, oil_out("2025-02-10"))

SENTENCES: list[tuple[str, EyeHistory, str, str]] = [
    ("the last day of a period", history(GAS), "2024-02-04", "Day 1: overdue since 2 Feb 2024."),
    ("the first day of the next", history(GAS), "2024-02-05", "Week 1: overdue since 2 Feb 2024."),
    (
        "the last review signed off, the others never met",
        history(GAS, signed(DecisionKind.STANDS_FOR, "2026-02-01", milestone_key="M24")),
        "2026-03-01",
        "Month 12: overdue since 2 Feb 2024.",
    ),
    (
        "reviews without end, the last day before one opens",
        LOST,
        "2034-01-10",
        "Yearly review 6: overdue since 12 Feb 2025.",
    ),
    (
        "reviews without end, the day one opens",
        LOST,
        "2034-01-11",
        "Yearly review 7: overdue since 12 Feb 2025.",
    ),
    (
        "all done",
        DONE,
        "2026-03-01",
        "All planned reviews are done: discharge, or say when to see the eye again.",
    ),
]


@pytest.mark.parametrize(
    ("told", "on", "sentence"), [row[1:] for row in SENTENCES], ids=[row[0] for row in SENTENCES]
)
def test_the_next_step_is_a_whole_sentence(told: EyeHistory, on: str, sentence: str) -> None:
    assert standing(told, on).next_step == sentence


def test_a_lane_without_a_review_says_so() -> None:
    reviews = [lane for lane in standing(DONE, "2026-03-01").lanes if lane.milestone is None]
    assert [lane.next_step for lane in reviews[1:]] == ["No review is planned."]


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
