"""Short stories of outcomes, with the date of each part. Definitions: domain/outcome.py."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from followup.domain.facts import EyeHistory, OperationFact
from followup.domain.fills import Fill
from followup.domain.outcome import Ending, FinalState, HoleState, Outcome, is_planned_removal, outcome_of
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
        hole=HoleState.NO_HOLE,
        hole_primary=None,
        fills=(Fill(Tamponade.SF6, date(2024, 1, 31), GAS.id, date(2024, 1, 31)),),
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


def test_a_detached_retina_says_nothing_of_a_hole() -> None:
    told = history(
        GAS,
        exam("2024-03-01", retina=FLAT, hole=Hole.CLOSED),
        exam("2024-06-01", retina=OFF, hole=Hole.CLOSED),
    )
    found = outcome_of(told, event=RecurrenceEvent.HOLE)
    assert found is not None
    assert (found.ending, found.last_well) == (Ending.FREE, date(2024, 6, 1))


def test_an_eye_never_operated_on_has_no_outcome() -> None:
    assert outcome_of(history(exam("2024-03-01", retina=FLAT))) is None


EXAM_IN_MARCH, EXAM_IN_JUNE = exam("2024-03-01", retina=FLAT), exam("2024-06-01", retina=UNSEEN)
PEEL = operation("2024-05-01", indication=Indication.ERM)
OUT_WITH_VITRECTOMY = oil_out(
    "2024-04-20", procedures=frozenset({Procedure.VITRECTOMY, Procedure.OIL_REMOVAL})
)

REOPERATIONS: list[tuple[str, EyeHistory, Clock, dict[str, Any]]] = [
    (
        "none: counted to the last exam, whatever it saw",
        history(GAS, EXAM_IN_MARCH, EXAM_IN_JUNE),
        Clock.INDEX,
        {"ending": Ending.FREE, "days": 122, "last_well": date(2024, 6, 1)},
    ),
    (
        "never seen since: no time",
        history(GAS_UNKNOWN),
        Clock.INDEX,
        {"ending": Ending.FREE, "days": 0},
    ),
    (
        "any retinal operation counts, and on its own day",
        history(GAS, EXAM_IN_MARCH, PEEL, EXAM_IN_JUNE),
        Clock.INDEX,
        {"ending": Ending.RECURRED, "days": 91, "found_on": date(2024, 5, 1), "last_well": date(2024, 3, 1)},
    ),
    (
        "a detachment that nobody operated on is none",
        history(GAS, exam("2024-03-01", retina=OFF)),
        Clock.INDEX,
        {"ending": Ending.FREE, "days": 30},
    ),
    (
        "planned removal of oil is none",
        history(OIL, EXAM_IN_MARCH, oil_out("2024-04-20"), EXAM_IN_JUNE),
        Clock.INDEX,
        {"ending": Ending.FREE, "days": 122},
    ),
    (
        "lens surgery is none",
        history(GAS, operation("2024-05-01", procedures=LENS.procedures), EXAM_IN_JUNE),
        Clock.INDEX,
        {"ending": Ending.FREE, "days": 122},
    ),
    (
        "an exchange of oil is one",
        history(OIL, EXAM_IN_MARCH, oil_in("2024-04-20", takes_out=True)),
        Clock.INDEX,
        {"ending": Ending.RECURRED, "days": 80},
    ),
    (
        "a repair after removal, on the clock of removal",
        history(OIL, EXAM_IN_MARCH, oil_out("2024-04-20"), operation("2024-05-01")),
        Clock.REMOVED,
        {"ending": Ending.RECURRED, "start": date(2024, 4, 20), "days": 11},
    ),
]


@pytest.mark.parametrize(
    ("told", "clock", "expected"),
    [story[1:] for story in REOPERATIONS],
    ids=[story[0] for story in REOPERATIONS],
)
def test_any_reoperation_as_the_event(told: EyeHistory, clock: Clock, expected: dict[str, Any]) -> None:
    found = outcome_of(told, clock=clock, event=RecurrenceEvent.REOPERATION)
    assert {name: getattr(found, name) for name in expected} == expected


@pytest.mark.parametrize(
    ("done", "planned"),
    [
        (oil_out("2024-04-20"), True),
        (OUT_WITH_VITRECTOMY, True),
        (replace(OUT_WITH_VITRECTOMY, indication=Indication.REDETACHMENT), False),
        (oil_out("2024-04-20", indication=Indication.UNKNOWN), True),
        (replace(OUT_WITH_VITRECTOMY, indication=Indication.UNKNOWN), False),
        (oil_out("2024-04-20", tamponade_in=Tamponade.SF6), True),
        (oil_out("2024-04-20", tamponade_in=Tamponade.OIL_5000), False),
        (PEEL, False),
    ],
)
def test_what_is_a_planned_removal(done: OperationFact, planned: bool) -> None:
    assert is_planned_removal(done) is planned


HOLE = operation("2024-01-31", indication=Indication.MACULAR_HOLE)
SHUT, GAPING = (exam("2024-03-01", hole=hole) for hole in (Hole.CLOSED, Hole.OPEN))


@pytest.mark.parametrize(
    ("told", "hole", "primary"),
    [
        (history(HOLE, SHUT), HoleState.CLOSED, True),
        (history(HOLE, exam("2024-03-01", hole=Hole.CLOSED_DEFECT)), HoleState.CLOSED, True),
        (history(HOLE, exam("2024-03-01", hole=Hole.NO_HOLE)), HoleState.CLOSED, True),
        (history(HOLE, exam("2024-03-01", hole=Hole.FLAT_OPEN)), HoleState.OPEN, False),
        (history(HOLE, SHUT, exam("2024-06-01", hole=Hole.OPEN)), HoleState.OPEN, False),
        (history(HOLE, SHUT, exam("2024-06-01", hole=Hole.NOT_VISIBLE)), HoleState.CLOSED, True),
        (
            history(
                HOLE,
                GAPING,
                operation("2024-04-01", indication=Indication.MACULAR_HOLE),
                exam("2024-06-01", hole=Hole.CLOSED),
            ),
            HoleState.CLOSED,
            False,
        ),
        (history(HOLE), HoleState.NOT_SEEN, None),
        (history(exam("2024-01-10", hole=Hole.OPEN), GAS), HoleState.NOT_SEEN, None),
        (history(exam("2024-01-31", hole=Hole.OPEN), GAS), HoleState.NOT_SEEN, None),
        (history(GAS, exam("2024-03-01", hole=Hole.NO_HOLE)), HoleState.NO_HOLE, None),
    ],
)
def test_the_hole_when_last_seen(told: EyeHistory, hole: HoleState, primary: bool | None) -> None:
    found = outcome_of(told)
    assert found is not None
    assert (found.hole, found.hole_primary) == (hole, primary)


@pytest.mark.parametrize(
    ("told", "days", "last_well"),
    [
        (history(GAS, exam("2024-03-01", retina=OFF, hole=Hole.CLOSED)), 30, date(2024, 1, 31)),
        (
            history(GAS, EXAM_IN_MARCH, exam("2024-04-01", retina=UNSEEN, hole=Hole.OPEN)),
            61,
            date(2024, 3, 1),
        ),
        (
            history(GAS, EXAM_IN_MARCH, exam("2024-04-01", retina=UNSEEN, hole=Hole.NOT_VISIBLE), REPAIR),
            70,
            date(2024, 3, 1),
        ),
    ],
)
def test_either_event_is_the_first_of_the_two(told: EyeHistory, days: int, last_well: date) -> None:
    found = outcome_of(told, event=RecurrenceEvent.EITHER)
    assert found is not None
    assert (found.ending, found.days, found.last_well) == (Ending.RECURRED, days, last_well)
