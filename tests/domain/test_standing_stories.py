"""Short stories of eyes, each with the day asked about and where the eye stands.

The windows are those of the shipped pathways. The oil dates are the state test of the trade (oil in on
31 January 2024, plan two to three months); calendar arithmetic, no source needed.
"""

from __future__ import annotations

import pytest

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

WAITING, TO_BOOK, BOOKED = Standing.WAITING, Standing.TO_BOOK, Standing.BOOKED
OVERDUE, ASKS, CLOSED = Standing.OVERDUE, Standing.NEEDS_DECISION, Standing.CLOSED

GAS = operation("2024-01-31")
SEEN_EARLY = (exam("2024-02-01"), exam("2024-02-07"))
SEEN_TO_M1 = (*SEEN_EARLY, exam("2024-02-29"))
SEEN_TO_M12 = (*SEEN_TO_M1, exam("2024-04-30"), exam("2024-07-31"), exam("2025-01-31"))
OIL = oil_in("2024-01-31")
KEEP = signed(DecisionKind.KEEP_OIL, "2024-04-25", review_on="2024-10-25")

STORIES = [
    # After gas on 31 January 2024: D1 1-2 Feb; W1 5-11 Feb; M1 22 Feb-14 Mar; M3 16 Apr-21 May.
    (
        "operated today: day 1 is to be booked",
        history(GAS),
        "2024-01-31",
        TO_BOOK,
        "Day 1: book between 1 Feb 2024 and 2 Feb 2024.",
    ),
    ("day 1 opens", history(GAS), "2024-02-01", TO_BOOK, "Day 1"),
    ("the day it opens", history(GAS), "2024-02-01", TO_BOOK, "Day 1: book by 2 Feb 2024."),
    ("the last day of day 1's window", history(GAS), "2024-02-02", TO_BOOK, "Day 1: book by 2 Feb 2024."),
    ("the day after day 1 closed", history(GAS), "2024-02-03", OVERDUE, "Day 1: overdue since 2 Feb 2024."),
    (
        "not seen until week 1 opens: week 1 is what gets booked",
        history(GAS),
        "2024-02-05",
        OVERDUE,
        "Week 1: book by 11 Feb 2024; overdue since 2 Feb 2024, when Day 1 was missed.",
    ),
    (
        "seen on day 1: week 1 opens within the horizon",
        history(GAS, exam("2024-02-01")),
        "2024-02-01",
        TO_BOOK,
        "Week 1: book between 5 Feb 2024 and 11 Feb 2024.",
    ),
    (
        "day 1 seen late, before week 1 opens",
        history(GAS, exam("2024-02-04")),
        "2024-02-04",
        TO_BOOK,
        "Week 1",
    ),
    (
        "a booking inside the period covers it",
        history(GAS, exam("2024-02-01"), place("2024-02-07")),
        "2024-02-02",
        BOOKED,
        "Week 1: booked for 7 Feb 2024.",
    ),
    (
        "a booking after the window is marked late",
        history(GAS, exam("2024-02-01"), place("2024-02-15")),
        "2024-02-02",
        BOOKED,
        "Week 1: booked for 15 Feb 2024, after its window.",
    ),
    (
        "a booking before the window opens covers nothing",
        history(GAS, exam("2024-02-01"), place("2024-02-04")),
        "2024-02-02",
        TO_BOOK,
        "Week 1",
    ),
    (
        "a booking for today still covers",
        history(GAS, exam("2024-02-01"), place("2024-02-07")),
        "2024-02-07",
        BOOKED,
        "Week 1",
    ),
    (
        "a past booking without an outcome covers nothing",
        history(GAS, exam("2024-02-01"), place("2024-02-07")),
        "2024-02-08",
        TO_BOOK,
        "Week 1",
    ),
    (
        "did not attend covers nothing",
        history(GAS, exam("2024-02-01"), place("2024-02-07", state=AppointmentState.NOSHOW)),
        "2024-02-07",
        TO_BOOK,
        "Week 1",
    ),
    (
        "a theatre place is no review",
        history(GAS, exam("2024-02-01"), place("2024-02-07", Lane.REMOVAL)),
        "2024-02-02",
        TO_BOOK,
        "Week 1",
    ),
    (
        "an overdue eye with a booking stays overdue, the booking beside it",
        history(GAS, exam("2024-02-01"), place("2024-02-20")),
        "2024-02-13",
        OVERDUE,
        "Week 1: overdue since 11 Feb 2024. Booked for 20 Feb 2024.",
    ),
    (
        "seen late in the period: overdue no more",
        history(GAS, exam("2024-02-01"), exam("2024-02-20")),
        "2024-02-20",
        TO_BOOK,
        "Month 1",
    ),
    (
        "month 1 missed, seen again in month 3's period: overdue no more",
        history(GAS, *SEEN_EARLY, exam("2024-05-10")),
        "2024-05-10",
        WAITING,
        "Month 6",
    ),
    (
        "month 1 missed: overdue counts from its closing while month 3 is booked next",
        history(GAS, *SEEN_EARLY),
        "2024-04-16",
        OVERDUE,
        "Month 3: book by 21 May 2024; overdue since 14 Mar 2024, when Month 1 was missed.",
    ),
    (
        "the last day before the horizon reaches month 3",
        history(GAS, *SEEN_TO_M1),
        "2024-03-04",
        WAITING,
        "Month 3: between 16 Apr 2024 and 21 May 2024.",
    ),
    ("the horizon reaches month 3", history(GAS, *SEEN_TO_M1), "2024-03-05", TO_BOOK, "Month 3"),
    (
        "a visit before the first opening meets nothing",
        history(GAS, exam("2024-01-31")),
        "2024-02-03",
        OVERDUE,
        "Day 1",
    ),
    (
        "seen to the end of a finite pathway: a clinician says what next",
        history(GAS, *SEEN_TO_M12, exam("2026-01-31")),
        "2026-02-01",
        ASKS,
        "All planned reviews are done",
    ),
    (
        "see again in two weeks adds a review",
        history(GAS, *SEEN_TO_M1, signed(DecisionKind.SEE_AGAIN, "2024-02-29", review_on="2024-03-14")),
        "2024-03-01",
        TO_BOOK,
        "See again as asked: book between 12 Mar 2024 and 16 Mar 2024.",
    ),
    (
        "see again not kept is overdue",
        history(GAS, *SEEN_TO_M1, signed(DecisionKind.SEE_AGAIN, "2024-02-29", review_on="2024-03-14")),
        "2024-03-17",
        OVERDUE,
        "since 16 Mar 2024",
    ),
    (
        "a clinician signs that the early visit stands for week 1",
        history(
            GAS,
            exam("2024-02-01"),
            exam("2024-02-04"),
            signed(DecisionKind.STANDS_FOR, "2024-02-04", milestone_key="W1", visit_day="2024-02-04"),
        ),
        "2024-02-12",
        TO_BOOK,
        "Month 1",
    ),
    # Oil in on 31 January 2024: removal opens 31 March and closes 30 April.
    (
        "oil: seen at month 1, the removal is within the horizon and not due yet",
        history(OIL, *SEEN_TO_M1),
        "2024-03-30",
        TO_BOOK,
        "Oil removal: book between 31 Mar 2024 and 30 Apr 2024.",
    ),
    (
        "oil: the removal window opens",
        history(OIL, *SEEN_TO_M1),
        "2024-03-31",
        TO_BOOK,
        "Oil removal",
    ),
    (
        "oil: the last day",
        history(OIL, *SEEN_TO_M1, exam("2024-04-29")),
        "2024-04-30",
        TO_BOOK,
        "Oil removal",
    ),
    (
        "oil: overdue by one day",
        history(OIL, *SEEN_TO_M1, exam("2024-04-29")),
        "2024-05-01",
        OVERDUE,
        "Oil removal: past its limit since 30 Apr 2024.",
    ),
    (
        "oil: a theatre place shows beside it, and it stays overdue",
        history(OIL, *SEEN_TO_M1, exam("2024-04-29"), place("2024-05-06", Lane.REMOVAL)),
        "2024-05-01",
        OVERDUE,
        "Theatre booked for 6 May 2024.",
    ),
    (
        "oil: a theatre place in time is booked",
        history(OIL, *SEEN_TO_M1, exam("2024-04-16"), place("2024-04-22", Lane.REMOVAL)),
        "2024-04-16",
        BOOKED,
        "Oil removal: booked for 22 Apr 2024.",
    ),
    (
        "oil: a review does not meet the removal",
        history(OIL, *SEEN_TO_M1, exam("2024-04-29"), place("2024-05-06")),
        "2024-05-01",
        OVERDUE,
        "Oil removal",
    ),
    (
        "oil out on 20 April: month 1 counts from there",
        history(OIL, *SEEN_TO_M1, oil_out("2024-04-20"), exam("2024-04-21"), exam("2024-04-27")),
        "2024-04-28",
        TO_BOOK,
        "Month 1: book between 13 May 2024 and 3 Jun 2024.",
    ),
    (
        "oil exchanged on 20 April: the window counts from the new fill",
        history(
            OIL,
            *SEEN_TO_M1,
            oil_in("2024-04-20", takes_out=True),
            exam("2024-04-21"),
            exam("2024-04-27"),
            exam("2024-05-20"),
        ),
        "2024-05-20",
        TO_BOOK,
        "Oil removal: book between 20 Jun 2024 and 20 Jul 2024.",
    ),
    (
        "oil kept by decision is off overdue",
        history(OIL, *SEEN_TO_M1, exam("2024-04-25"), KEEP),
        "2024-05-01",
        WAITING,
        "Month 6",
    ),
    (
        "oil kept: the review day itself is still kept",
        history(OIL, *SEEN_TO_M1, exam("2024-04-25"), exam("2024-07-31"), KEEP),
        "2024-10-25",
        WAITING,
        "review it by 25 Oct 2024",
    ),
    (
        "oil kept: back the day after its review day",
        history(OIL, *SEEN_TO_M1, exam("2024-04-25"), exam("2024-07-31"), KEEP),
        "2024-10-26",
        ASKS,
        "to be reviewed by 25 Oct 2024",
    ),
    (
        "see again does not remove the oil limit",
        history(OIL, *SEEN_TO_M1, signed(DecisionKind.SEE_AGAIN, "2024-04-29", review_on="2024-06-29")),
        "2024-05-01",
        OVERDUE,
        "Oil removal",
    ),
    (
        "yearly review without end: six years on, month and year still counted from the operation",
        history(
            OIL,
            *SEEN_TO_M12,
            oil_out("2025-02-10"),
            *(
                exam(on)
                for on in (
                    "2025-02-11",
                    "2025-02-17",
                    "2025-03-10",
                    "2025-05-10",
                    "2025-08-10",
                    "2026-02-10",
                    "2027-02-10",
                    "2028-02-10",
                    "2029-02-10",
                    "2030-02-10",
                )
            ),
        ),
        "2031-01-11",
        TO_BOOK,
        "Yearly review 4: book by 11 May 2031.",
    ),
    (
        "lost for years: overdue since the first window it missed",
        history(OIL, *SEEN_TO_M12, oil_out("2025-02-10")),
        "2033-03-01",
        OVERDUE,
        "overdue since 12 Feb 2025",
    ),
    # Decisions, contradictions, closings.
    (
        "detached at the last exam, no plan",
        history(
            GAS,
            exam("2024-02-01", retina=Retina.ATTACHED),
            exam("2024-02-07", retina=Retina.DETACHED_MACULA_ON),
        ),
        "2024-02-07",
        ASKS,
        "Retina detached when seen on 7 Feb 2024",
    ),
    (
        "a signed plan settles it",
        history(
            GAS, exam("2024-02-07", retina=Retina.DETACHED_MACULA_ON), signed(DecisionKind.PLAN, "2024-02-07")
        ),
        "2024-02-08",
        TO_BOOK,
        "Month 1",
    ),
    (
        "a theatre place settles it",
        history(GAS, exam("2024-02-07", retina=Retina.DETACHED_MACULA_ON), place("2024-02-09", Lane.REMOVAL)),
        "2024-02-08",
        TO_BOOK,
        "Month 1",
    ),
    (
        "a repair starts a new course",
        history(GAS, exam("2024-02-07", retina=Retina.DETACHED_MACULA_OFF), operation("2024-02-09")),
        "2024-02-09",
        TO_BOOK,
        "Day 1: book between 10 Feb 2024 and 11 Feb 2024.",
    ),
    (
        "clinic laser starts nothing anew",
        history(
            GAS,
            *SEEN_EARLY,
            operation(
                "2024-02-09", procedures=frozenset({Procedure.RETINAL_LASER}), tamponade_in=Tamponade.NONE
            ),
        ),
        "2024-02-12",
        TO_BOOK,
        "Month 1: book between 22 Feb 2024",
    ),
    (
        "lens surgery that is said to restart does",
        history(
            GAS,
            *SEEN_EARLY,
            operation(
                "2024-02-09",
                procedures=frozenset({Procedure.LENS_SURGERY}),
                tamponade_in=Tamponade.NONE,
                restarts=True,
            ),
        ),
        "2024-02-09",
        TO_BOOK,
        "Day 1",
    ),
    (
        "five attempts without an answer: overdue while the answer to the last is awaited",
        history(GAS, *SEEN_EARLY, *in_vain(*(f"2024-03-{n}" for n in (15, 17, 18, 22, 29)))),
        "2024-04-04",
        OVERDUE,
        "Month 1: overdue since 14 Mar 2024.",
    ),
    (
        "the ladder is at its end a week after the last of its steps",
        history(GAS, *SEEN_EARLY, *in_vain(*(f"2024-03-{n}" for n in (15, 17, 18, 22, 29)))),
        "2024-04-05",
        ASKS,
        "5 contact attempts without an answer, and the ladder is at its end.",
    ),
    (
        "with oil in the eye the end comes sooner",
        history(OIL, *SEEN_EARLY, *in_vain(*(f"2024-03-{n}" for n in (15, 16, 17, 18, 22)))),
        "2024-03-25",
        ASKS,
        "5 contact attempts without an answer, and the ladder is at its end.",
    ),
    (
        "telephoned again and again: the other steps are still to be taken",
        history(GAS, *SEEN_EARLY, *(attempt(f"2024-03-{n}") for n in range(15, 30))),
        "2024-04-15",
        OVERDUE,
        "Month 1",
    ),
    (
        "reached, and refuses",
        history(GAS, *SEEN_EARLY, attempt("2024-03-15", ContactResult.REFUSED)),
        "2024-03-15",
        ASKS,
        "Reached on 15 Mar 2024, and refuses to come.",
    ),
    (
        "the letter came back",
        history(GAS, *SEEN_EARLY, attempt("2024-03-20", ContactResult.RETURNED, Channel.LETTER)),
        "2024-03-20",
        ASKS,
        "The letter came back on 20 Mar 2024",
    ),
    (
        "postponed for the third time",
        history(GAS, *SEEN_EARLY, *(taken_back(f"2024-02-{n}") for n in (20, 22, 26))),
        "2024-02-26",
        ASKS,
        "The clinic cancelled 3 places since the eye was last seen: on 20 Feb 2024, 22 Feb 2024, ",
    ),
    (
        "the day before the third postponement",
        history(GAS, *SEEN_EARLY, *(taken_back(f"2024-02-{n}") for n in (20, 22, 26))),
        "2024-02-25",
        TO_BOOK,
        "Month 1",
    ),
    (
        "new symptoms go before an older question",
        history(GAS, exam("2024-02-07", retina=Retina.DETACHED_MACULA_ON), report("2024-02-10")),
        "2024-02-10",
        ASKS,
        "Reports new symptoms, told on 10 Feb 2024: same-day care.",
    ),
    (
        "new symptoms after a discharge",
        history(GAS, *SEEN_TO_M12, signed(DecisionKind.DISCHARGE, "2025-01-31"), report("2025-06-01")),
        "2025-06-01",
        ASKS,
        "Reports new symptoms",
    ),
    (
        "answered: the eye is closed as before",
        history(
            GAS,
            *SEEN_TO_M12,
            signed(DecisionKind.DISCHARGE, "2025-01-31"),
            report("2025-06-01", answered_on="2025-06-01"),
        ),
        "2025-06-01",
        CLOSED,
        "Discharge.",
    ),
    (
        "somebody answered: still overdue, no question",
        history(
            GAS,
            *SEEN_EARLY,
            *(attempt(f"2024-03-{n}") for n in (15, 17, 18, 22)),
            attempt("2024-03-29", ContactResult.CALL_BACK),
        ),
        "2024-03-29",
        OVERDUE,
        "Month 1",
    ),
    (
        "tamponade never recorded",
        history(operation("2024-01-31", tamponade_in=Tamponade.UNKNOWN)),
        "2024-02-01",
        ASKS,
        "unknown, check",
    ),
    (
        "an examiner saw a bubble: known now",
        history(
            operation("2024-01-31", tamponade_in=Tamponade.UNKNOWN),
            exam("2024-02-01", tamponade_seen=TamponadeSeen.BUBBLE),
        ),
        "2024-02-01",
        TO_BOOK,
        "Week 1",
    ),
    (
        "no oil seen though none was taken out",
        history(OIL, exam("2024-02-01"), exam("2024-02-07", tamponade_seen=TamponadeSeen.NONE)),
        "2024-02-07",
        ASKS,
        "No oil was seen on 7 Feb 2024",
    ),
    (
        "oil seen though none was put in",
        history(GAS, exam("2024-02-01", tamponade_seen=TamponadeSeen.OIL)),
        "2024-02-01",
        ASKS,
        "no operation on record put it in",
    ),
    (
        "discharged",
        history(GAS, *SEEN_TO_M1, signed(DecisionKind.DISCHARGE, "2024-03-01")),
        "2024-04-01",
        CLOSED,
        "Discharge.",
    ),
    (
        "a new operation reopens a closed eye",
        history(GAS, *SEEN_TO_M1, signed(DecisionKind.DISCHARGE, "2024-03-01"), operation("2024-06-01")),
        "2024-06-01",
        TO_BOOK,
        "Day 1",
    ),
    (
        "a transfer stays open until accepted",
        history(GAS, *SEEN_TO_M1, signed(DecisionKind.TRANSFER, "2024-03-01", to_whom="Harbour Eye Unit")),
        "2024-03-02",
        WAITING,
        "Month 3",
    ),
    (
        "a transfer accepted",
        history(
            GAS,
            *SEEN_TO_M1,
            signed(DecisionKind.TRANSFER, "2024-03-01", to_whom="Harbour Eye Unit", accepted_on="2024-03-05"),
        ),
        "2024-03-06",
        CLOSED,
        "Transfer to Harbour Eye Unit.",
    ),
]


@pytest.mark.parametrize(
    ("told", "on", "expected", "words"), [story[1:] for story in STORIES], ids=[story[0] for story in STORIES]
)
def test_the_eye_stands_where_the_story_says(
    told: EyeHistory, on: str, expected: Standing, words: str
) -> None:
    found = standing(told, on)
    assert (found.standing, words in found.next_step) == (expected, True), found.next_step


def test_a_death_closes_the_eye_from_that_day() -> None:
    from datetime import date

    told = history(GAS, *SEEN_TO_M1, died_on=date(2024, 4, 1))
    assert standing(told, "2024-03-31").standing is TO_BOOK
    assert standing(told, "2024-04-01").standing is CLOSED
