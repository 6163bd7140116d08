"""Whom to call first: each story with its reasons, and the order of the list they make together."""

from __future__ import annotations

from dataclasses import replace

import pytest

from followup.domain.facts import EyeHistory
from followup.domain.pathway.planner import plan_eye
from followup.domain.priority import Priority, priority_of
from followup.domain.standing import standing_on, state_of
from followup.domain.words import Retina, Tamponade
from tests.domain.histories import BOOK, LIMITS, day, exam, history, oil_in, operation, place, report

TODAY = "2024-06-10"
HEAVY = Tamponade.HEAVY_LIQUID
BORN_CHILD, BORN_ADULT = "2006-06-11", "2006-06-10"


def told(*facts: object, **traits: object) -> EyeHistory:
    if isinstance(traits.get("birth_date"), str):
        traits["birth_date"] = day(str(traits["birth_date"]))
    return history(*facts, **traits)


def priority(eye: EyeHistory, eye_id: int = 1) -> Priority:
    known = replace(eye, eye_id=eye_id)
    state = state_of(known, plan_eye(known, BOOK))
    assert state is not None
    return priority_of(state, standing_on(state, day(TODAY), LIMITS), day(TODAY))


# After gas on 31 January: month 1 closes on 14 March, month 3 on 21 May. Oil is to be out after three months,
# heavy liquid after three weeks.
MISSED_ONE = (operation("2024-01-31"), exam("2024-02-01"), exam("2024-02-07"), exam("2024-02-29"))
DAY_1_ONLY = (operation("2024-01-31"), exam("2024-02-01"))
OIL_PAST = (oil_in("2024-02-29"), exam("2024-06-01"))

# In the order of the list, most pressing first.
STORIES: list[tuple[str, EyeHistory, list[str]]] = [
    (
        "detached with no plan, oil past its limit",
        told(oil_in("2024-02-29"), exam("2024-06-01", retina=Retina.DETACHED_MACULA_ON)),
        ["Silicone oil 1000 cSt in the eye 102 days, 12 days past its limit"],
    ),
    (
        "detached with no plan, only eye",
        told(operation("2024-05-20"), exam("2024-06-01", retina=Retina.DETACHED_MACULA_ON), only_eye=True),
        ["Only eye"],
    ),
    (
        "oil past its limit in an only eye",
        told(*OIL_PAST, only_eye=True),
        ["Silicone oil 1000 cSt in the eye 102 days, 12 days past its limit", "Only eye"],
    ),
    (
        "oil past its limit in a child",
        told(*OIL_PAST, birth_date=BORN_CHILD),
        ["Silicone oil 1000 cSt in the eye 102 days, 12 days past its limit", "Child"],
    ),
    (
        "heavy liquid past its limit for longer",
        told(operation("2024-04-29", tamponade_in=HEAVY), exam("2024-06-01")),
        ["Heavy liquid (perfluorocarbon) in the eye 42 days, 21 days past its limit"],
    ),
    (
        "oil past its limit",
        told(*OIL_PAST, birth_date=BORN_ADULT),
        ["Silicone oil 1000 cSt in the eye 102 days, 12 days past its limit"],
    ),
    (
        "oil one day past its limit",
        told(oil_in("2024-03-09"), exam("2024-06-01")),
        ["Silicone oil 1000 cSt in the eye 93 days, 1 day past its limit"],
    ),
    (
        "only eye, one review missed",
        told(*MISSED_ONE, only_eye=True),
        ["Only eye", "20 days past the window"],
    ),
    (
        "two reviews missed in a row",
        told(*DAY_1_ONLY),
        ["Missed 2 reviews in a row", "120 days past the window"],
    ),
    (
        "a child, one review missed",
        told(*MISSED_ONE, birth_date=BORN_CHILD),
        ["Child", "20 days past the window"],
    ),
    ("one review missed", told(*MISSED_ONE), ["20 days past the window"]),
    (
        "the window closed yesterday",
        told(operation("2024-06-07")),
        ["1 day past the window"],
    ),
    ("to book, an only eye", told(operation(TODAY), only_eye=True), ["Only eye"]),
    ("to book, a child", told(operation(TODAY), birth_date=BORN_CHILD), ["Child"]),
    ("to book, opens tomorrow", told(operation(TODAY)), []),
    ("to book, opens in four days", told(operation("2024-06-09"), exam(TODAY)), []),
    (
        "booked",
        told(operation("2024-06-09"), exam(TODAY), place("2024-06-16")),
        [],
    ),
    (
        "waiting",
        told(operation("2024-03-01"), exam("2024-06-01")),
        [],
    ),
]


@pytest.mark.parametrize(("eye", "reasons"), [s[1:] for s in STORIES], ids=[s[0] for s in STORIES])
def test_the_reasons_are_told_most_pressing_first(eye: EyeHistory, reasons: list[str]) -> None:
    assert list(priority(eye).reasons) == reasons


def test_the_list_is_in_the_order_of_the_stories() -> None:
    given = {name: priority(eye) for name, eye, _ in reversed(STORIES)}
    assert sorted(given, key=given.__getitem__) == [name for name, _, _ in STORIES]


@pytest.mark.parametrize(
    ("born", "reasons"),
    [(BORN_CHILD, ["Child"]), (BORN_ADULT, []), (TODAY, ["Child"]), ("2024-06-11", [])],
    ids=["a day short of eighteen", "eighteen today", "born today", "a birth date that cannot be"],
)
def test_a_child_is_called_before_an_adult(born: str, reasons: list[str]) -> None:
    assert list(priority(told(operation(TODAY), birth_date=born)).reasons) == reasons


def test_new_symptoms_come_before_everything_else_of_their_standing_until_answered() -> None:
    told_of = priority(told(operation(TODAY), report(TODAY)))
    answered = priority(told(operation(TODAY), report(TODAY, TODAY)))
    oil_past = priority(told(*OIL_PAST, exam("2024-06-02", retina=Retina.DETACHED_MACULA_ON), only_eye=True))
    assert told_of.reasons == ("Reports new symptoms",)
    assert answered.reasons == ()
    assert told_of < oil_past < answered


def test_between_equals_the_eye_first_on_record_comes_first() -> None:
    eye = told(operation(TODAY))
    assert priority(eye, eye_id=1) < priority(eye, eye_id=2)
