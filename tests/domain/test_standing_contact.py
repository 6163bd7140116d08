"""Whom to reach and how soon, and the questions that attempts, refusals, letters and cancelled clinics raise.

After gas on 31 January 2024: D1 1-2 Feb, W1 5-11 Feb with its target on the 7th, M1 22 Feb to 14 Mar.
"""

from __future__ import annotations

import pytest

from followup.domain.facts import EyeHistory
from followup.domain.ladder import Hurry
from followup.domain.pathway.planner import plan_eye
from followup.domain.standing import EyeState, state_of
from followup.domain.standing.contact import hurries
from followup.domain.words import AppointmentState, Channel, ContactResult, DecisionKind, Question, Standing
from tests.domain.histories import (
    BOOK,
    attempt,
    day,
    exam,
    history,
    oil_in,
    operation,
    place,
    report,
    signed,
    standing,
    taken_back,
)

GAS = operation("2024-01-31")
SEEN_DAY_1 = (GAS, exam("2024-02-01"))
SEEN_EARLY = (*SEEN_DAY_1, exam("2024-02-07"))
SEEN_TO_M1 = (*SEEN_EARLY, exam("2024-02-29"))
BORN = day("2006-02-01")
"""Seventeen on the day of the operation, eighteen on the next."""


def state(told: EyeHistory) -> EyeState:
    known = state_of(told, plan_eye(told, BOOK))
    assert known is not None
    return known


@pytest.mark.parametrize(
    ("told", "on", "found"),
    [
        (history(*SEEN_TO_M1), "2024-05-22", set()),
        (history(oil_in("2024-01-31"), *SEEN_TO_M1[1:]), "2024-05-22", {Hurry.OIL}),
        (history(*SEEN_TO_M1, only_eye=True), "2024-05-22", {Hurry.ONLY_EYE}),
        (history(*SEEN_TO_M1, birth_date=BORN), "2024-05-22", {Hurry.CHILD}),
        (history(*SEEN_DAY_1), "2024-02-11", set()),
        (history(*SEEN_DAY_1), "2024-02-12", {Hurry.FIRST_WEEK}),
        (history(*SEEN_DAY_1), "2024-03-20", {Hurry.FIRST_WEEK}),
    ],
    ids=[
        "nothing",
        "oil",
        "only eye",
        "a child when operated on",
        "week 1 on its last day",
        "week 1 missed",
        "week 1 missed, month 1 too",
    ],
)
def test_what_hurries_an_eye_that_has_nothing_to_book(told: EyeHistory, on: str, found: set[Hurry]) -> None:
    assert set(hurries(state(told), (), day(on))) == found


def test_a_review_of_the_first_week_hurries_while_it_is_still_to_book() -> None:
    told = history(*SEEN_DAY_1)
    wanted = standing(told, "2024-02-05").lanes
    assert [lane.standing for lane in wanted] == [Standing.TO_BOOK]
    assert set(hurries(state(told), wanted, day("2024-02-05"))) == {Hurry.FIRST_WEEK}


@pytest.mark.parametrize(
    ("told", "on", "step", "due", "failed"),
    [
        (history(*SEEN_EARLY), "2024-03-20", "phone", "2024-03-14", 0),
        (history(*SEEN_EARLY, attempt("2024-03-20")), "2024-03-20", "phone-again", "2024-03-22", 1),
        (
            history(*SEEN_EARLY, place("2024-03-18", state=AppointmentState.NOSHOW)),
            "2024-03-20",
            "phone",
            "2024-03-18",
            0,
        ),
    ],
    ids=["from the day the window closed", "an attempt of today counts", "from the place not attended"],
)
def test_the_ladder_starts_from_what_was_missed(
    told: EyeHistory, on: str, step: str, due: str, failed: int
) -> None:
    contact = standing(told, on).contact
    assert contact is not None
    assert (contact.step.key, str(contact.due), contact.failed) == (step, due, failed)


def test_an_eye_to_book_is_called_today_until_a_place_serves_it() -> None:
    told = standing(history(*SEEN_TO_M1), "2024-03-10")
    assert told.standing is Standing.TO_BOOK
    assert told.contact is not None
    assert (told.contact.step.key, str(told.contact.due)) == ("phone", "2024-03-10")
    booked = standing(history(*SEEN_TO_M1, place("2024-04-20")), "2024-03-10")
    assert (booked.standing, booked.contact) == (Standing.BOOKED, None)


def test_nobody_is_to_be_reached_for_an_eye_that_waits_or_is_booked() -> None:
    assert standing(history(*SEEN_TO_M1), "2024-03-01").contact is None
    assert standing(history(*SEEN_EARLY, place("2024-03-22")), "2024-03-20").contact is None


REFUSED = attempt("2024-03-16", ContactResult.REFUSED)
RETURNED = attempt("2024-03-16", ContactResult.RETURNED, Channel.LETTER)
TAKEN = tuple(taken_back(on) for on in ("2024-02-22", "2024-02-26", "2024-03-04"))
PLAN_BEFORE, PLAN_AFTER = (signed(DecisionKind.PLAN, on) for on in ("2024-03-01", "2024-03-20"))

QUESTIONS: list[tuple[str, EyeHistory, Question | None, str]] = [
    ("refuses", history(*SEEN_EARLY, REFUSED), Question.REFUSES, "2024-03-16"),
    ("refuses, a plan before", history(*SEEN_EARLY, PLAN_BEFORE, REFUSED), Question.REFUSES, "2024-03-16"),
    ("refuses, a plan since", history(*SEEN_EARLY, REFUSED, PLAN_AFTER), None, ""),
    (
        "refuses, then agrees",
        history(*SEEN_EARLY, REFUSED, attempt("2024-03-18", ContactResult.WILL_COME)),
        None,
        "",
    ),
    ("refuses, and has a place", history(*SEEN_EARLY, REFUSED, place("2024-04-02")), None, ""),
    ("a letter came back", history(*SEEN_EARLY, RETURNED), Question.LETTER_RETURNED, "2024-03-16"),
    (
        "a letter came back, and nobody answered since",
        history(*SEEN_EARLY, RETURNED, attempt("2024-03-18")),
        Question.LETTER_RETURNED,
        "2024-03-16",
    ),
    (
        "a letter came back, and somebody answered since",
        history(*SEEN_EARLY, RETURNED, attempt("2024-03-18", ContactResult.WILL_COME)),
        None,
        "",
    ),
    (
        "a letter came back, and another was sent",
        history(*SEEN_EARLY, RETURNED, attempt("2024-03-18", channel=Channel.LETTER)),
        None,
        "",
    ),
    (
        "a letter came back, a plan before",
        history(*SEEN_EARLY, PLAN_BEFORE, RETURNED),
        Question.LETTER_RETURNED,
        "2024-03-16",
    ),
    ("a letter came back, a plan since", history(*SEEN_EARLY, RETURNED, PLAN_AFTER), None, ""),
    ("three places cancelled", history(*SEEN_EARLY, *TAKEN), Question.POSTPONED, "2024-03-04"),
    ("two places cancelled", history(*SEEN_EARLY, *TAKEN[:2]), None, ""),
    (
        "three places cancelled, a plan after the second",
        history(*SEEN_EARLY, *TAKEN, PLAN_BEFORE),
        Question.POSTPONED,
        "2024-03-04",
    ),
    ("three places cancelled, a plan since", history(*SEEN_EARLY, *TAKEN, PLAN_AFTER), None, ""),
    (
        "three places cancelled, the first on the day the eye was seen",
        history(*SEEN_EARLY, exam("2024-02-22"), *TAKEN),
        None,
        "",
    ),
]


@pytest.mark.parametrize(
    ("told", "question", "since"), [row[1:] for row in QUESTIONS], ids=[row[0] for row in QUESTIONS]
)
def test_what_contact_leaves_for_a_clinician(told: EyeHistory, question: Question | None, since: str) -> None:
    """Asked on 1 April 2024."""
    asked = [(lane.question, str(lane.since)) for lane in standing(told, "2024-04-01").questions]
    assert asked == ([(question, since)] if question else [])


def test_a_death_told_by_one_person_is_a_question_and_nothing_else() -> None:
    found = standing(
        history(GAS, report("2024-03-01"), died_on=day("2024-04-01"), death_to_confirm=True), "2024-05-01"
    )
    sentence = "A death on 1 Apr 2024 is reported: a second person confirms it, or takes it back."
    assert (found.standing, found.next_step, str(found.since)) == (
        Standing.NEEDS_DECISION,
        sentence,
        "2024-04-01",
    )
    assert [lane.question for lane in found.lanes] == [Question.DEATH]


def test_new_symptoms_are_asked_of_a_closed_eye_too_and_once() -> None:
    discharged = (*SEEN_TO_M1, signed(DecisionKind.DISCHARGE, "2024-03-01"))
    found = standing(history(*discharged, report("2024-04-01"), report("2024-04-03")), "2024-05-01")
    sentence = "Reports new symptoms, told on 1 Apr 2024: same-day care. Sign what to do."
    assert (found.standing, found.next_step, str(found.since)) == (
        Standing.NEEDS_DECISION,
        sentence,
        "2024-04-01",
    )
    assert [lane.question for lane in found.lanes] == [Question.SYMPTOMS]


def test_of_somebody_who_died_no_symptoms_are_asked() -> None:
    found = standing(history(*SEEN_TO_M1, report("2024-03-10"), died_on=day("2024-04-01")), "2024-05-01")
    assert (found.standing, found.lanes) == (Standing.CLOSED, ())
