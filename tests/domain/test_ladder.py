"""The recall ladder: which step is next and when, where it ends, and which texts are refused."""

from __future__ import annotations

from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.domain.ladder import Chase, Hurry, LadderFault, parse_ladder, rung_on
from followup.domain.words import Channel, ContactResult
from tests.domain.histories import LADDER, PATHWAYS, STEPS, attempt, day, in_vain

TEXT = (PATHWAYS.parent / "ladder.toml").read_text()
OVERDUE = day("2024-03-14")
TODAY = day("2024-06-01")
NO_ANSWER, RETURNED, WRONG = ContactResult.NO_ANSWER, ContactResult.RETURNED, ContactResult.WRONG_NUMBER
CALL_AGAIN = attempt("2024-03-17", ContactResult.CALL_BACK, next_step_on="2024-03-25")

STORIES = [
    # (what happened, chase, key of the next step, its day)
    ("overdue: telephone on that day", Chase(overdue_since=OVERDUE), "phone", "2024-03-14"),
    ("only to be booked: telephone today", Chase(), "phone", "2024-06-01"),
    (
        "no answer: again two days after the date",
        Chase(in_vain("2024-03-14"), OVERDUE),
        "phone-again",
        "2024-03-16",
    ),
    (
        "begun late: never sooner after the first than the ladder's own pause",
        Chase(in_vain("2024-03-20"), OVERDUE),
        "phone-again",
        "2024-03-22",
    ),
    (
        "after two calls a message",
        Chase(in_vain("2024-03-14", "2024-03-16"), OVERDUE),
        "message",
        "2024-03-17",
    ),
    (
        "after the message a letter a week after the date",
        Chase(in_vain("2024-03-14", "2024-03-16", "2024-03-17"), OVERDUE),
        "letter",
        "2024-03-21",
    ),
    (
        "then the referrer, after a fortnight",
        Chase(in_vain("2024-03-14", "2024-03-16", "2024-03-17", "2024-03-21"), OVERDUE),
        "referrer",
        "2024-03-28",
    ),
    (
        "then a clinician, after three weeks",
        Chase(in_vain("2024-03-14", "2024-03-16", "2024-03-17", "2024-03-21", "2024-03-28"), OVERDUE),
        "decide",
        "2024-04-04",
    ),
    (
        "oil, an only eye, a child or the first week: half the time",
        Chase(
            in_vain("2024-03-14", "2024-03-15", "2024-03-16", "2024-03-17", "2024-03-21"),
            OVERDUE,
            shorter=True,
        ),
        "decide",
        "2024-03-24",
    ),
    (
        "an early letter leaves the telephone still to be tried",
        Chase((attempt("2024-03-14", channel=Channel.LETTER),), OVERDUE),
        "phone",
        "2024-03-14",
    ),
    (
        "a third call takes no other step",
        Chase(tuple(attempt(f"2024-03-{n}") for n in (14, 16, 18)), OVERDUE),
        "message",
        "2024-03-17",
    ),
    (
        "what could not be tried counts as tried",
        Chase(
            (
                attempt("2024-03-14", ContactResult.NOT_POSSIBLE),
                attempt("2024-03-14", ContactResult.NOT_POSSIBLE),
                attempt("2024-03-14", ContactResult.NOT_POSSIBLE, Channel.TEXT),
            ),
            OVERDUE,
        ),
        "letter",
        "2024-03-21",
    ),
    (
        "e-mail serves the message too",
        Chase((*in_vain("2024-03-14", "2024-03-16"), attempt("2024-03-17", channel=Channel.EMAIL)), OVERDUE),
        "letter",
        "2024-03-21",
    ),
    (
        "what comes back takes no step",
        Chase((attempt("2024-03-14", RETURNED, Channel.EMAIL),), OVERDUE),
        "phone",
        "2024-03-14",
    ),
    (
        "a day set with the last attempt goes first",
        Chase((attempt("2024-03-14", next_step_on="2024-03-30"),), OVERDUE),
        "phone-again",
        "2024-03-30",
    ),
    (
        "reached, call again on a day: begun anew from it",
        Chase(
            (*in_vain("2024-03-14", "2024-03-16"), CALL_AGAIN),
            OVERDUE,
        ),
        "phone",
        "2024-03-25",
    ),
    (
        "did not come to the place agreed: begun anew on that day",
        Chase(in_vain("2024-03-14", "2024-03-16"), OVERDUE, missed_on=day("2024-04-02")),
        "phone",
        "2024-04-02",
    ),
    (
        "a call on the day of the missed visit is the first step",
        Chase(in_vain("2024-04-02"), OVERDUE, missed_on=day("2024-04-02")),
        "phone-again",
        "2024-04-04",
    ),
    (
        "missed long before the eye was last seen",
        Chase((), OVERDUE, seen_on=day("2024-02-07"), missed_on=day("2024-01-20")),
        "phone",
        "2024-03-14",
    ),
    (
        "attempts before the eye was last seen count no more",
        Chase(in_vain("2024-02-01", "2024-02-03"), OVERDUE, seen_on=day("2024-02-07")),
        "phone",
        "2024-03-14",
    ),
    (
        "a clinician signed a plan: begun anew",
        Chase(in_vain("2024-03-14", "2024-03-16"), OVERDUE, settled_on=day("2024-03-20")),
        "phone",
        "2024-03-20",
    ),
    (
        "see again signed, overdue later: counted from then",
        Chase((), day("2024-05-01"), settled_on=day("2024-03-20")),
        "phone",
        "2024-05-01",
    ),
]


@pytest.mark.parametrize(("chase", "step", "due"), [s[1:] for s in STORIES], ids=[s[0] for s in STORIES])
def test_the_next_step_and_its_day(chase: Chase, step: str, due: str) -> None:
    found = rung_on(LADDER, chase, TODAY)
    assert (found.step.key, found.due) == (step, day(due))
    assert found.is_exhausted == (step == "decide")


@pytest.mark.parametrize(("result", "check"), [(WRONG, True), (RETURNED, True), (NO_ANSWER, False)])
def test_a_wrong_number_asks_to_look_for_another_first(result: ContactResult, check: bool) -> None:
    found = rung_on(LADDER, Chase((attempt("2024-03-14", result),), OVERDUE), TODAY)
    assert found.check_details is check


@given(
    st.lists(st.tuples(st.integers(0, 400), st.sampled_from(STEPS)), max_size=12),
    st.booleans(),
    st.integers(0, 400),
)
def test_the_ladder_never_closes_and_never_goes_back(
    made: list[tuple[int, Channel]], shorter: bool, later: int
) -> None:
    """Every prefix of attempts in vain has a next step; another attempt never leads to an earlier one."""
    tried = [attempt(str(OVERDUE + timedelta(days=n)), channel=channel) for n, channel in sorted(made)]
    numbers = []
    for count in range(len(tried) + 1):
        chase = Chase(tuple(tried[:count]), OVERDUE, shorter=shorter)
        found = rung_on(LADDER, chase, OVERDUE + timedelta(days=later))
        assert found.due >= OVERDUE
        numbers.append(found.number)
    assert numbers == sorted(numbers)


@given(st.permutations(STEPS), st.booleans())
def test_every_step_in_vain_in_any_order_leads_to_a_clinician(order: list[Channel], shorter: bool) -> None:
    tried = tuple(attempt(str(OVERDUE + timedelta(days=n)), channel=c) for n, c in enumerate(order))
    found = rung_on(LADDER, Chase(tried, OVERDUE, shorter=shorter), TODAY)
    assert found.is_exhausted
    assert found.due >= OVERDUE + timedelta(days=10 if shorter else 21)


def test_the_ladder_that_comes_with_the_tool_is_that_of_the_trade() -> None:
    """Common practice, no source: day 0 and 2 telephone, 3 message, 7 letter, 14 referrer, 21 clinician."""
    assert [(step.key, step.day) for step in LADDER.steps] == [
        ("phone", 0),
        ("phone-again", 2),
        ("message", 3),
        ("letter", 7),
        ("referrer", 14),
        ("decide", 21),
    ]
    assert LADDER.hurries == set(Hurry)
    assert all(step.day_shorter <= step.day for step in LADDER.steps)


FAULTS = [
    ("day = 2\n", "day = two\n", "this is not valid TOML"),
    ("day = 2\n", 'day = "2"\n', "line 16, step 2: day: a whole number of days from 0 to 366 is needed"),
    ("day = 2\n", "day = 400\n", "line 16, step 2: day: a whole number of days"),
    ("day = 3\n", "day = 1\n", "line 25, step 3: day_shorter: 2 is later than day, 1"),
    ("day = 7\nday_shorter = 3", "day = 2\nday_shorter = 2", "line 34, step 4: day: the steps must stand"),
    ('["text", "email"]', '["pigeon"]', "line 25, step 3: channels: 'pigeon' is none of phone, text, email"),
    ('["text", "email"]', "[]", "line 25, step 3: channels: name at least one of phone"),
    ('["text", "email"]', '"text"', "step 3: channels: a list in square brackets is needed"),
    ('key = "message"', 'key = "phone"', "line 25, step 3: key: 'phone' stands twice"),
    ('key = "message"', 'key = "message"\nwhen = 3', "line 25, step 3: when: unknown key; there are by"),
    ('title = "Message"', 'title = " "', "line 25, step 3: title: a text in quotes is needed, found ' '"),
    ('shorter_for = ["oil"', 'shorter_for = ["gas"', "line 1, the file: shorter_for: 'gas' is none of oil"),
    ("[decide]", "[end]", "line 1, the file: end: unknown key"),
]


@pytest.mark.parametrize(("there", "instead", "said"), FAULTS, ids=[fault[2][:60] for fault in FAULTS])
def test_a_faulty_ladder_is_refused_naming_line_and_key(there: str, instead: str, said: str) -> None:
    assert there in TEXT
    with pytest.raises(LadderFault) as refused:
        parse_ladder(TEXT.replace(there, instead, 1), "ladder.toml")
    assert said in refused.value.message
    assert refused.value.field == "ladder"


@pytest.mark.parametrize(
    "text", ['source = "x"', 'source = "x"\nstep = 3', 'source = "x"\n[[step]]\nkey = "a"']
)
def test_a_ladder_without_steps_or_an_end_is_refused(text: str) -> None:
    with pytest.raises(LadderFault):
        parse_ladder(text)


def test_a_step_is_found_by_its_channel() -> None:
    assert LADDER.served_by(Channel.KIN) is LADDER.steps[4]
    assert LADDER.served_by(Channel.IN_PERSON) is None


def test_a_rung_says_which_step_of_how_many_and_what_was_tried() -> None:
    first = rung_on(LADDER, Chase(overdue_since=OVERDUE), TODAY)
    assert (first.number, first.of, first.failed, first.last_failed) == (1, 6, 0, None)
    third = rung_on(LADDER, Chase(in_vain("2024-03-14", "2024-03-16"), OVERDUE), TODAY)
    assert (third.number, third.of, third.failed, third.last_failed) == (3, 6, 2, day("2024-03-16"))


@pytest.mark.parametrize(
    ("seen", "failed"),
    [("2024-03-15", 1), ("2024-03-16", 0), ("2024-03-14", 1)],
    ids=["before", "that day", "long"],
)
def test_what_was_tried_by_the_day_the_eye_was_seen_counts_no_more(seen: str, failed: int) -> None:
    chase = Chase(in_vain("2024-03-16"), OVERDUE, seen_on=day(seen))
    assert rung_on(LADDER, chase, TODAY).failed == failed


def test_a_place_missed_on_the_day_a_clinician_settled_it_begins_nothing_new() -> None:
    settled = Chase((), OVERDUE, settled_on=day("2024-04-02"), missed_on=day("2024-04-02"))
    assert rung_on(LADDER, settled, TODAY).due == day("2024-04-02")
    later = Chase((), OVERDUE, settled_on=day("2024-04-02"), missed_on=day("2024-04-03"))
    assert rung_on(LADDER, later, TODAY).due == day("2024-04-03")
