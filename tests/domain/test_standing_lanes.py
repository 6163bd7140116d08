"""Every lane of an eye, whole: what it waits for, since when, with which place; and what settles a question.

Windows: those of the shipped pathways. After gas on 31 January 2024: D1 1-2 Feb; W1 5-11 Feb; M1 22 Feb to
14 Mar; M3 16 Apr to 21 May. Oil put in on that day is to be taken out from 31 March to 30 April.
"""

from __future__ import annotations

from datetime import date

import pytest

from followup.domain.facts import EyeHistory
from followup.domain.standing import LaneStanding
from followup.domain.words import (
    AppointmentState,
    Channel,
    ContactResult,
    DecisionKind,
    Lane,
    Retina,
    Standing,
    Tamponade,
    TamponadeSeen,
)
from tests.domain.histories import (
    attempt,
    exam,
    history,
    in_vain,
    oil_in,
    oil_out,
    operation,
    place,
    report,
    signed,
    standing,
    taken_back,
)

GAS = operation("2024-01-31")
OIL = oil_in("2024-01-31")
UNKNOWN = operation("2024-01-31", tamponade_in=Tamponade.UNKNOWN)
SEEN_EARLY = (exam("2024-02-01"), exam("2024-02-07"))
SEEN_TO_M1 = (*SEEN_EARLY, exam("2024-02-29"))
KEEP = signed(DecisionKind.KEEP_OIL, "2024-04-25", review_on="2024-10-25")
FAILED = in_vain(*(f"2024-03-{n}" for n in (15, 17, 18, 22, 29)))
DETACHED = exam("2024-02-07", retina=Retina.DETACHED_MACULA_ON)
THEATRE = Lane.REMOVAL

Told = tuple[str, str, str, str, str, bool, str]

# Lane, standing, milestone, since, place, booked late, review of the decision.
LANES: list[tuple[str, EyeHistory, str, list[Told]]] = [
    (
        "to book",
        history(GAS, exam("2024-02-01")),
        "2024-02-02",
        [("review", "to_book", "W1", "", "", False, "")],
    ),
    (
        "waiting",
        history(GAS, *SEEN_TO_M1),
        "2024-03-01",
        [("review", "waiting", "M3", "", "", False, "")],
    ),
    (
        "booked in its window, the first of two places",
        history(GAS, exam("2024-02-01"), place("2024-02-09"), place("2024-02-07")),
        "2024-02-02",
        [("review", "booked", "W1", "", "2024-02-07", False, "")],
    ),
    (
        "booked on the last day of its window",
        history(GAS, exam("2024-02-01"), place("2024-02-11")),
        "2024-02-02",
        [("review", "booked", "W1", "", "2024-02-11", False, "")],
    ),
    (
        "booked late",
        history(GAS, exam("2024-02-01"), place("2024-02-12")),
        "2024-02-02",
        [("review", "booked", "W1", "", "2024-02-12", True, "")],
    ),
    (
        "overdue with a place",
        history(GAS, exam("2024-02-01"), place("2024-02-20")),
        "2024-02-13",
        [("review", "overdue", "W1", "2024-02-11", "2024-02-20", True, "")],
    ),
    (
        "overdue since the first window missed, while the next is what gets booked",
        history(GAS, *SEEN_EARLY, place("2024-05-06")),
        "2024-04-16",
        [("review", "overdue", "M3", "2024-03-14", "2024-05-06", False, "")],
    ),
    (
        "oil: the removal is due before the review",
        history(OIL, *SEEN_TO_M1),
        "2024-03-30",
        [
            ("removal", "to_book", "removal-2024-01-31", "", "", False, ""),
            ("review", "to_book", "M3", "", "", False, ""),
        ],
    ),
    (
        "oil: theatre and clinic booked",
        history(OIL, *SEEN_TO_M1, place("2024-05-06", THEATRE), place("2024-05-10")),
        "2024-04-30",
        [
            ("removal", "booked", "removal-2024-01-31", "", "2024-05-06", True, ""),
            ("review", "booked", "M3", "", "2024-05-10", False, ""),
        ],
    ),
    (
        "oil past its limit, with a place in theatre",
        history(OIL, *SEEN_TO_M1, exam("2024-04-29"), place("2024-05-06", THEATRE)),
        "2024-05-01",
        [
            ("removal", "overdue", "removal-2024-01-31", "2024-04-30", "2024-05-06", True, ""),
            ("review", "waiting", "M6", "", "", False, ""),
        ],
    ),
    (
        "oil kept",
        history(OIL, *SEEN_TO_M1, exam("2024-04-25"), KEEP),
        "2024-05-01",
        [
            ("review", "waiting", "M6", "", "", False, ""),
            ("removal", "waiting", "removal-2024-01-31", "", "", False, "2024-10-25"),
        ],
    ),
    (
        "oil kept, and theatre booked all the same",
        history(OIL, *SEEN_TO_M1, exam("2024-04-25"), KEEP, place("2024-06-03", THEATRE)),
        "2024-05-01",
        [
            ("removal", "booked", "removal-2024-01-31", "", "2024-06-03", True, "2024-10-25"),
            ("review", "waiting", "M6", "", "", False, ""),
        ],
    ),
    (
        "oil kept past the review of the decision: asked once",
        history(OIL, *SEEN_TO_M1, exam("2024-04-25"), exam("2024-07-31"), KEEP),
        "2024-11-30",
        [
            ("removal", "needs_decision", "", "2024-10-26", "", False, ""),
            ("review", "to_book", "M12", "", "", False, ""),
        ],
    ),
    (
        "found detached",
        history(GAS, exam("2024-02-01"), DETACHED),
        "2024-02-10",
        [
            ("review", "needs_decision", "", "2024-02-07", "", False, ""),
            ("review", "to_book", "M1", "", "", False, ""),
        ],
    ),
    (
        "two questions: the older first",
        history(UNKNOWN, exam("2024-02-01"), DETACHED),
        "2024-02-10",
        [
            ("removal", "needs_decision", "", "2024-01-31", "", False, ""),
            ("review", "needs_decision", "", "2024-02-07", "", False, ""),
            ("review", "to_book", "M1", "", "", False, ""),
        ],
    ),
    (
        "oil not seen",
        history(OIL, exam("2024-02-01"), exam("2024-02-07", tamponade_seen=TamponadeSeen.NONE)),
        "2024-02-10",
        [
            ("removal", "needs_decision", "", "2024-02-07", "", False, ""),
            ("review", "to_book", "M1", "", "", False, ""),
            ("removal", "waiting", "removal-2024-01-31", "", "", False, ""),
        ],
    ),
    (
        "oil seen",
        history(GAS, exam("2024-02-01"), exam("2024-02-07", tamponade_seen=TamponadeSeen.OIL)),
        "2024-02-10",
        [
            ("removal", "needs_decision", "", "2024-02-07", "", False, ""),
            ("review", "to_book", "M1", "", "", False, ""),
        ],
    ),
    (
        "the ladder is at its end: asked a week after the last step",
        history(GAS, *SEEN_EARLY, *FAILED),
        "2024-04-06",
        [
            ("review", "needs_decision", "", "2024-04-05", "", False, ""),
            ("review", "overdue", "M1", "2024-03-14", "", False, ""),
        ],
    ),
    (
        "all reviews done, one of them missed",
        history(GAS, *SEEN_EARLY, exam("2024-04-30"), exam("2025-01-31"), exam("2026-01-31")),
        "2026-03-01",
        [
            ("review", "needs_decision", "", "2026-01-31", "", False, ""),
            ("review", "waiting", "", "", "", False, ""),
        ],
    ),
]


def lane_told(lane: LaneStanding) -> Told:
    milestone, appointment = lane.milestone, lane.appointment
    return (
        lane.lane.value,
        lane.standing.value,
        milestone.key if milestone else "",
        str(lane.since or ""),
        str(appointment.day) if appointment else "",
        lane.booked_late,
        str(lane.review_on or ""),
    )


@pytest.mark.parametrize(("told", "on", "lanes"), [row[1:] for row in LANES], ids=[row[0] for row in LANES])
def test_each_lane_is_told_whole_and_the_most_pressing_first(
    told: EyeHistory, on: str, lanes: list[Told]
) -> None:
    found = standing(told, on)
    assert [lane_told(lane) for lane in found.lanes] == lanes
    assert (found.standing, found.next_step, found.since) == (
        found.lanes[0].standing,
        found.lanes[0].next_step,
        found.lanes[0].since,
    )


CALL_BACK = attempt("2024-04-02", ContactResult.CALL_BACK, next_step_on="2024-04-06")
BOUNCED = attempt("2024-04-02", ContactResult.RETURNED, Channel.EMAIL, "2024-04-03")
REFUSAL = attempt("2024-03-20", ContactResult.REFUSED)
WILL_COME = attempt("2024-04-02", ContactResult.WILL_COME)
CAME_BACK = attempt("2024-03-20", ContactResult.RETURNED, Channel.LETTER)
SENT = attempt("2024-03-25", ContactResult.SENT, Channel.LETTER)
POSTPONED = tuple(taken_back(f"2024-03-{n}") for n in (10, 18, 27))

QUESTIONS: list[tuple[str, EyeHistory, bool]] = [
    ("detached, and nothing signed", history(GAS, DETACHED), True),
    (
        "detached, a plan signed that day",
        history(GAS, DETACHED, signed(DecisionKind.PLAN, "2024-02-07")),
        False,
    ),
    (
        "detached, a day to see the eye again",
        history(GAS, DETACHED, signed(DecisionKind.SEE_AGAIN, "2024-02-07", review_on="2024-04-07")),
        False,
    ),
    ("detached, a plan signed before", history(GAS, DETACHED, signed(DecisionKind.PLAN, "2024-02-06")), True),
    (
        "detached, another signature since",
        history(GAS, DETACHED, signed(DecisionKind.STANDS_FOR, "2024-02-08", milestone_key="W1")),
        True,
    ),
    ("detached, a clinic place ahead", history(GAS, DETACHED, place("2024-04-10")), True),
    ("detached, a theatre place ahead", history(GAS, DETACHED, place("2024-04-10", THEATRE)), False),
    ("detached, a theatre place gone by", history(GAS, DETACHED, place("2024-02-10", THEATRE)), True),
    (
        "detached, a theatre place not attended",
        history(GAS, DETACHED, place("2024-04-10", THEATRE, AppointmentState.NOSHOW)),
        True,
    ),
    (
        "detached on the morning of its repair",
        history(GAS, DETACHED, operation("2024-02-07"), exam("2024-02-29")),
        False,
    ),
    (
        "detached, then flat",
        history(GAS, DETACHED, exam("2024-02-29", retina=Retina.ATTACHED)),
        False,
    ),
    (
        "detached, then not visible",
        history(GAS, DETACHED, exam("2024-02-29", retina=Retina.NOT_VISIBLE)),
        True,
    ),
    ("tamponade unknown", history(UNKNOWN, *SEEN_TO_M1), True),
    (
        "tamponade unknown, a plan signed since",
        history(UNKNOWN, *SEEN_TO_M1, signed(DecisionKind.PLAN, "2024-01-31")),
        False,
    ),
    (
        "tamponade unknown, a plan signed before",
        history(UNKNOWN, *SEEN_TO_M1, signed(DecisionKind.PLAN, "2024-01-30")),
        True,
    ),
    ("gas seen to be gone", history(GAS, exam("2024-02-29", tamponade_seen=TamponadeSeen.NONE)), False),
    ("oil seen in its place", history(OIL, exam("2024-02-29", tamponade_seen=TamponadeSeen.OIL)), False),
    ("gas seen", history(GAS, exam("2024-02-29", tamponade_seen=TamponadeSeen.BUBBLE)), False),
    ("oil gone", history(OIL, exam("2024-02-29", tamponade_seen=TamponadeSeen.NONE)), True),
    (
        "oil gone, then not looked for",
        history(OIL, exam("2024-02-07", tamponade_seen=TamponadeSeen.NONE), exam("2024-02-29")),
        True,
    ),
    (
        "oil gone, a plan signed",
        history(
            OIL,
            exam("2024-02-29", tamponade_seen=TamponadeSeen.NONE),
            signed(DecisionKind.PLAN, "2024-02-29"),
        ),
        False,
    ),
    (
        "oil seen on the morning of its removal",
        history(
            OIL,
            exam("2024-02-29", tamponade_seen=TamponadeSeen.OIL),
            oil_out("2024-02-29"),
            exam("2024-03-20"),
        ),
        False,
    ),
    (
        "oil seen before its removal",
        history(OIL, exam("2024-02-07", tamponade_seen=TamponadeSeen.OIL), oil_out("2024-02-29")),
        False,
    ),
    (
        "heavy liquid seen after its removal",
        history(
            operation("2024-01-31", tamponade_in=Tamponade.HEAVY_LIQUID),
            oil_out("2024-02-10"),
            exam("2024-02-29", tamponade_seen=TamponadeSeen.HEAVY_LIQUID),
        ),
        True,
    ),
    ("five attempts", history(GAS, *SEEN_EARLY, *FAILED), True),
    ("four attempts", history(GAS, *SEEN_EARLY, *FAILED[:4]), False),
    ("five attempts of an eye never seen", history(GAS, *FAILED), True),
    ("five attempts, a place ahead", history(GAS, *SEEN_EARLY, *FAILED, place("2024-04-10")), False),
    ("five attempts, a place gone by", history(GAS, *SEEN_EARLY, *FAILED, place("2024-03-10")), True),
    ("seen after the first of five", history(GAS, exam("2024-03-16"), *FAILED), False),
    ("seen on the day of the first of five", history(GAS, exam("2024-03-15"), *FAILED), False),
    (
        "four failed, one answered, one failed",
        history(GAS, *FAILED[:4], attempt("2024-03-23", ContactResult.WILL_COME), FAILED[4]),
        False,
    ),
    (
        "five attempts, a plan signed after the fourth: the ladder begins anew",
        history(GAS, *SEEN_EARLY, *FAILED, signed(DecisionKind.PLAN, "2024-03-28")),
        False,
    ),
    (
        "five attempts, a plan signed after the last",
        history(GAS, *SEEN_EARLY, *FAILED, signed(DecisionKind.PLAN, "2024-03-29")),
        False,
    ),
    (
        "every step but the letter",
        history(GAS, *SEEN_EARLY, *FAILED[:3], FAILED[4], attempt("2024-03-30")),
        False,
    ),
    (
        "the last step could not be tried",
        history(
            GAS,
            *SEEN_EARLY,
            *FAILED[:4],
            attempt("2024-03-29", ContactResult.NOT_POSSIBLE, Channel.REFERRER),
        ),
        True,
    ),
    ("refuses when reached", history(GAS, *SEEN_EARLY, REFUSAL), True),
    ("refuses, then no answer", history(GAS, *SEEN_EARLY, REFUSAL, attempt("2024-04-01")), True),
    ("refuses, then will come", history(GAS, *SEEN_EARLY, REFUSAL, WILL_COME), False),
    ("refuses, and is booked", history(GAS, *SEEN_EARLY, REFUSAL, place("2024-04-20")), False),
    ("refuses, seen later", history(GAS, *SEEN_EARLY, REFUSAL, exam("2024-04-01")), False),
    ("a letter came back", history(GAS, *SEEN_EARLY, CAME_BACK), True),
    ("a letter came back, another was sent", history(GAS, *SEEN_EARLY, CAME_BACK, SENT), False),
    ("a letter came back, reached by telephone", history(GAS, *SEEN_EARLY, CAME_BACK, WILL_COME), False),
    (
        "a letter came back, a place is booked",
        history(GAS, *SEEN_EARLY, CAME_BACK, place("2024-04-20")),
        False,
    ),
    (
        "a message came back",
        history(GAS, *SEEN_EARLY, attempt("2024-03-20", ContactResult.RETURNED, Channel.TEXT)),
        False,
    ),
    ("postponed three times by the clinic", history(GAS, *SEEN_EARLY, *POSTPONED), True),
    ("postponed twice", history(GAS, *SEEN_EARLY, *POSTPONED[1:]), False),
    ("postponed three times, booked again", history(GAS, *SEEN_EARLY, *POSTPONED, place("2024-04-20")), True),
    ("postponed three times, seen since", history(GAS, *SEEN_EARLY, *POSTPONED, exam("2024-04-01")), False),
    (
        "postponed three times, a plan signed since",
        history(GAS, *SEEN_EARLY, *POSTPONED, signed(DecisionKind.PLAN, "2024-03-28")),
        False,
    ),
    ("new symptoms", history(GAS, *SEEN_TO_M1, report("2024-04-03")), True),
    (
        "new symptoms, seen since, nothing signed",
        history(GAS, *SEEN_TO_M1, report("2024-04-03"), exam("2024-04-04")),
        True,
    ),
    (
        "new symptoms, a clinician answered",
        history(GAS, *SEEN_TO_M1, report("2024-04-03", "2024-04-03")),
        False,
    ),
    (
        "new symptoms of an eye that was discharged",
        history(GAS, *SEEN_TO_M1, signed(DecisionKind.DISCHARGE, "2024-03-01"), report("2024-04-03")),
        True,
    ),
    ("a death that nobody confirmed", history(GAS, died_on=date(2024, 3, 1), death_to_confirm=True), True),
    ("a death that two people vouch for", history(GAS, died_on=date(2024, 3, 1)), False),
]


@pytest.mark.parametrize(("told", "asked"), [row[1:] for row in QUESTIONS], ids=[row[0] for row in QUESTIONS])
def test_a_question_stands_until_it_is_settled(told: EyeHistory, asked: bool) -> None:
    """Asked on 5 April 2024."""
    assert (standing(told, "2024-04-05").standing is Standing.NEEDS_DECISION) is asked


OFF_THE_LIST = [
    ("overdue", history(GAS, *SEEN_EARLY), True),
    ("reports new symptoms", history(GAS, *SEEN_EARLY, report("2024-04-03")), False),
    ("answered", history(GAS, *SEEN_EARLY, report("2024-04-03", "2024-04-04")), True),
    ("refuses", history(GAS, *SEEN_EARLY, REFUSAL), False),
    (
        "refuses, a plan signed",
        history(GAS, *SEEN_EARLY, REFUSAL, signed(DecisionKind.PLAN, "2024-03-25")),
        True,
    ),
    ("booked", history(GAS, *SEEN_EARLY, place("2024-04-20")), False),
    ("booked, but the message came back", history(GAS, *SEEN_EARLY, BOUNCED, place("2024-04-20")), True),
    ("booked, and to be called back", history(GAS, *SEEN_EARLY, CALL_BACK, place("2024-04-20")), True),
]


@pytest.mark.parametrize(
    ("told", "to_reach"), [s[1:] for s in OFF_THE_LIST], ids=[s[0] for s in OFF_THE_LIST]
)
def test_who_is_to_be_reached(told: EyeHistory, to_reach: bool) -> None:
    """Asked on 5 April 2024: what a clinician must answer first is nobody's call."""
    assert (standing(told, "2024-04-05").contact is not None) is to_reach
