"""Short stories of outcomes, with the date of each part. Definitions: domain/outcome.py."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from followup.domain.facts import EyeHistory
from followup.domain.outcome import Ending, FinalState, Outcome, outcome_of
from followup.domain.words import (
    Clock,
    Hole,
    Indication,
    Procedure,
    RecurrenceEvent,
    Retina,
    Tamponade,
    TamponadeSeen,
    YesNo,
)
from tests.domain.histories import exam, history, oil_in, oil_out, operation

ON, OFF = Retina.DETACHED_MACULA_ON, Retina.DETACHED_MACULA_OFF
FLAT, UNSEEN = Retina.ATTACHED, Retina.NOT_VISIBLE
GAS = operation("2024-01-31", attached_at_end=YesNo.YES)
GAS_UNKNOWN = operation("2024-01-31")
OIL = oil_in("2024-01-31", attached_at_end=YesNo.YES)
LENS = operation("2023-06-01", procedures=frozenset({Procedure.LENS_SURGERY}), tamponade_in=Tamponade.NONE)
REPAIR = operation("2024-04-10", indication=Indication.REDETACHMENT)

STORIES: list[tuple[str, EyeHistory, Clock, dict[str, Any]]] = [
    (
        "flat when last seen",
        history(GAS, exam("2024-03-01", retina=FLAT), exam("2025-01-31", retina=FLAT)),
        Clock.INDEX,
        {"ending": Ending.FREE, "days": 366, "final": FinalState.ATTACHED, "primary_success": True},
    ),
    (
        "not seen since the operation: no time, and no success claimed",
        history(GAS_UNKNOWN),
        Clock.INDEX,
        {"ending": Ending.FREE, "days": 0, "final": FinalState.NOT_SEEN, "primary_success": None},
    ),
    (
        "a later exam that saw no retina adds no time",
        history(GAS, exam("2024-03-01", retina=FLAT), exam("2024-09-01", retina=UNSEEN)),
        Clock.INDEX,
        {"ending": Ending.FREE, "days": 30, "last_well": date(2024, 3, 1)},
    ),
    (
        "found detached between two exams",
        history(GAS, exam("2024-03-01", retina=FLAT), exam("2024-04-01", retina=OFF)),
        Clock.INDEX,
        {
            "ending": Ending.RECURRED,
            "days": 61,
            "last_well": date(2024, 3, 1),
            "found_on": date(2024, 4, 1),
            "final": FinalState.DETACHED,
            "primary_success": False,
        },
    ),
    (
        "attached at the end of surgery, detached at the first exam",
        history(GAS, exam("2024-02-07", retina=ON)),
        Clock.INDEX,
        {"ending": Ending.RECURRED, "days": 7, "last_well": date(2024, 1, 31)},
    ),
    (
        "never attached",
        history(GAS_UNKNOWN, exam("2024-02-07", retina=ON), exam("2024-03-01", retina=FLAT)),
        Clock.INDEX,
        {"ending": Ending.PRIMARY_FAILURE, "days": None, "final": FinalState.ATTACHED},
    ),
    (
        "operated on again for a detachment that no exam recorded",
        history(GAS, exam("2024-03-01", retina=FLAT), REPAIR, exam("2024-06-01", retina=FLAT)),
        Clock.INDEX,
        {
            "ending": Ending.RECURRED,
            "days": 70,
            "found_on": date(2024, 4, 10),
            "final": FinalState.ATTACHED,
            "primary_success": False,
        },
    ),
    (
        "planned oil removal is no failure",
        history(OIL, exam("2024-03-01", retina=FLAT), oil_out("2024-04-20"), exam("2024-07-20", retina=FLAT)),
        Clock.INDEX,
        {"ending": Ending.FREE, "days": 171, "final": FinalState.ATTACHED, "primary_success": True},
    ),
    (
        "flat under oil is provisional",
        history(OIL, exam("2024-03-01", retina=FLAT)),
        Clock.INDEX,
        {"final": FinalState.ATTACHED_UNDER_OIL, "primary_success": True},
    ),
    (
        "clock B starts when the oil is out",
        history(OIL, exam("2024-03-01", retina=FLAT), oil_out("2024-04-20"), exam("2024-07-20", retina=FLAT)),
        Clock.REMOVED,
        {"ending": Ending.FREE, "start": date(2024, 4, 20), "days": 91},
    ),
    (
        "clock B never starts while oil is in",
        history(OIL, exam("2024-03-01", retina=FLAT)),
        Clock.REMOVED,
        {"ending": Ending.NEVER_STARTED, "days": None},
    ),
    (
        "clock B never starts for an eye that detached under oil",
        history(OIL, exam("2024-03-01", retina=FLAT), exam("2024-04-01", retina=ON), oil_out("2024-04-20")),
        Clock.REMOVED,
        {"ending": Ending.NEVER_STARTED, "days": None},
    ),
    (
        "clock B starts when the bubble is seen to be gone",
        history(
            GAS,
            exam("2024-02-20", retina=FLAT, tamponade_seen=TamponadeSeen.NONE),
            exam("2024-04-01", retina=ON),
        ),
        Clock.REMOVED,
        {"ending": Ending.RECURRED, "start": date(2024, 2, 20), "days": 41},
    ),
    (
        "an exchange is not the end of the oil",
        history(
            OIL, oil_in("2024-04-20", takes_out=True), oil_out("2024-07-20"), exam("2024-08-01", retina=FLAT)
        ),
        Clock.REMOVED,
        {"start": date(2024, 7, 20), "days": 12},
    ),
    (
        "no tamponade: clock B is clock A",
        history(
            operation("2024-01-31", tamponade_in=Tamponade.NONE, attached_at_end=YesNo.YES),
            exam("2024-03-01", retina=FLAT),
        ),
        Clock.REMOVED,
        {"start": date(2024, 1, 31), "days": 30},
    ),
    (
        "lens surgery before the vitrectomy is not the index",
        history(LENS, GAS, exam("2024-03-01", retina=FLAT)),
        Clock.INDEX,
        {"index": GAS, "days": 30},
    ),
    (
        "attached at the end of surgery and not seen since: no time",
        history(GAS),
        Clock.INDEX,
        {"ending": Ending.FREE, "days": 0, "last_well": date(2024, 1, 31), "last_exam": None},
    ),
    (
        "where nothing retinal was done, the first operation is the index",
        history(LENS, operation("2024-03-01", procedures=LENS.procedures), exam("2024-04-01", retina=FLAT)),
        Clock.INDEX,
        {"index": LENS, "start": date(2023, 6, 1), "days": 305},
    ),
    (
        "what was seen before the operation, or on its morning, says nothing of its outcome",
        history(exam("2024-01-10", retina=ON), exam("2024-01-31", retina=OFF), GAS_UNKNOWN),
        Clock.INDEX,
        {"ending": Ending.FREE, "days": 0, "final": FinalState.NOT_SEEN, "final_on": None, "last_exam": None},
    ),
    (
        "an index operation that was itself for a recurrent detachment is no recurrence",
        history(
            operation("2024-01-31", indication=Indication.REDETACHMENT, attached_at_end=YesNo.YES),
            exam("2024-03-01", retina=FLAT),
        ),
        Clock.INDEX,
        {"ending": Ending.FREE, "days": 30, "primary_success": True},
    ),
    (
        "found detached on the day the oil comes out: clock B never starts",
        history(OIL, exam("2024-03-01", retina=FLAT), exam("2024-04-20", retina=OFF), oil_out("2024-04-20")),
        Clock.REMOVED,
        {"ending": Ending.NEVER_STARTED, "start": date(2024, 4, 20), "days": None},
    ),
    (
        "fluid at the edge still counts as attached",
        history(GAS, exam("2024-03-01", retina=Retina.PERIPHERAL_FLUID)),
        Clock.INDEX,
        {"ending": Ending.FREE, "days": 30},
    ),
]


@pytest.mark.parametrize(
    ("told", "clock", "expected"), [story[1:] for story in STORIES], ids=[story[0] for story in STORIES]
)
def test_the_outcome_is_what_the_story_tells(
    told: EyeHistory, clock: Clock, expected: dict[str, Any]
) -> None:
    found = outcome_of(told, clock=clock)
    assert {name: getattr(found, name) for name in expected} == expected


def test_an_outcome_is_told_whole() -> None:
    told = history(
        GAS,
        exam("2024-03-01", retina=FLAT),
        exam("2024-06-01", retina=OFF),
        exam("2024-07-01", retina=UNSEEN),
        died_on=date(2024, 9, 1),
    )
    assert outcome_of(replace(told, eye_id=7)) == Outcome(
        eye_id=7,
        index=GAS,
        ending=Ending.RECURRED,
        start=date(2024, 1, 31),
        days=122,
        found_on=date(2024, 6, 1),
        last_well=date(2024, 3, 1),
        final=FinalState.DETACHED,
        final_on=date(2024, 6, 1),
        primary_success=False,
        died_on=date(2024, 9, 1),
        last_exam=date(2024, 7, 1),
    )


@pytest.mark.parametrize(
    ("event", "ending"),
    [
        (RecurrenceEvent.REDETACHMENT, Ending.FREE),
        (RecurrenceEvent.HOLE, Ending.RECURRED),
        (RecurrenceEvent.EITHER, Ending.RECURRED),
    ],
)
def test_a_hole_that_reopens_under_a_flat_retina(event: RecurrenceEvent, ending: Ending) -> None:
    told = history(
        GAS,
        exam("2024-03-01", retina=FLAT, hole=Hole.CLOSED),
        exam("2024-06-01", retina=FLAT, hole=Hole.OPEN),
    )
    found = outcome_of(told, event=event)
    assert found is not None
    assert found.ending is ending


def test_an_eye_never_operated_on_has_no_outcome() -> None:
    assert outcome_of(history(exam("2024-03-01", retina=FLAT))) is None
