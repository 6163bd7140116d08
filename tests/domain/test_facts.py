"""What an operation is, what a place is good for on a day, and the history as it had happened by a day."""

from __future__ import annotations

from dataclasses import replace

import pytest

from followup.domain.facts import AppointmentFact
from followup.domain.words import AppointmentState, DecisionKind, Lane, Procedure, Tamponade
from tests.domain.histories import attempt, day, exam, history, operation, place, report, signed, taken_back

BEFORE, ON, AFTER = "2024-03-30", "2024-03-31", "2024-04-01"
LASER = frozenset({Procedure.RETINAL_LASER})
BOTH = frozenset({Procedure.LENS_SURGERY, Procedure.VITRECTOMY})


@pytest.mark.parametrize(
    ("procedures", "retinal"),
    [(BOTH, True), (LASER, False), (frozenset(), True)],
    ids=["lens surgery with vitrectomy", "clinic laser", "nobody recorded what was done"],
)
def test_an_operation_is_retinal_if_any_part_of_it_is(
    procedures: frozenset[Procedure], retinal: bool
) -> None:
    assert operation(ON, procedures=procedures).is_retinal is retinal


@pytest.mark.parametrize(
    ("facts", "restarts"),
    [
        ({}, True),
        ({"procedures": LASER}, False),
        ({"procedures": LASER, "takes_out": True}, True),
        ({"procedures": LASER, "tamponade_in": Tamponade.OIL}, True),
        ({"procedures": LASER, "tamponade_in": Tamponade.SF6}, False),
        ({"procedures": LASER, "restarts": True}, True),
        ({"restarts": False}, False),
        ({"takes_out": True, "restarts": False}, False),
    ],
)
def test_follow_up_restarts_after_retinal_surgery_or_as_said(
    facts: dict[str, object], restarts: bool
) -> None:
    assert operation(ON, **{"tamponade_in": Tamponade.NONE} | facts).restarts_follow_up is restarts


@pytest.mark.parametrize(
    ("on", "state", "ahead", "lacks"),
    [
        (BEFORE, AppointmentState.BOOKED, False, True),
        (ON, AppointmentState.BOOKED, True, False),
        (AFTER, AppointmentState.BOOKED, True, False),
        (BEFORE, AppointmentState.ARRIVED, False, True),
        (BEFORE, AppointmentState.FULFILLED, False, False),
        (BEFORE, AppointmentState.NOSHOW, False, False),
        (AFTER, AppointmentState.NOSHOW, False, False),
    ],
)
def test_a_place_lies_ahead_or_lacks_its_outcome(
    on: str, state: AppointmentState, ahead: bool, lacks: bool
) -> None:
    booked = place(on, Lane.REVIEW, state)
    assert (booked.lies_ahead(day(ON)), booked.lacks_outcome(day(ON))) == (ahead, lacks)


@pytest.mark.parametrize(
    ("told", "missed", "happened"),
    [
        (place(BEFORE, state=AppointmentState.NOSHOW), True, True),
        (place(ON, state=AppointmentState.NOSHOW), True, True),
        (place(AFTER, state=AppointmentState.NOSHOW), False, False),
        (place(BEFORE), False, True),
        (place(AFTER), False, True),
        (taken_back(BEFORE, AFTER), False, True),
        (taken_back(ON, AFTER), False, True),
        (taken_back(AFTER, BEFORE), False, False),
    ],
)
def test_a_place_missed_or_taken_back_is_told_of_from_that_day(
    told: AppointmentFact, missed: bool, happened: bool
) -> None:
    assert (told.was_missed_by(day(ON)), told.had_happened_by(day(ON))) == (missed, happened)


def test_a_report_is_told_of_from_its_day_and_answered_from_its_answer() -> None:
    told = history(report(BEFORE, ON), report(ON, AFTER), report(BEFORE), report(AFTER, AFTER))
    known = told.until(day(ON)).reports
    assert known == (
        told.reports[0],
        replace(told.reports[1], answered_on=None),
        told.reports[2],
    )


def test_the_history_by_the_end_of_a_day_holds_what_had_happened_and_every_place() -> None:
    days = (BEFORE, ON, AFTER)
    told = history(
        *(operation(on) for on in days),
        *(exam(on) for on in days),
        *(signed(DecisionKind.PLAN, on) for on in days),
        *(attempt(on) for on in days),
        *(place(on) for on in days),
        only_eye=True,
    )
    assert told.until(day(ON)) == replace(
        told,
        operations=told.operations[:2],
        exams=told.exams[:2],
        decisions=told.decisions[:2],
        attempts=told.attempts[:2],
    )


@pytest.mark.parametrize(("died", "known"), [(BEFORE, True), (ON, True), (AFTER, False)])
def test_a_death_is_known_from_its_day(died: str, known: bool) -> None:
    told = history(operation(BEFORE), died_on=day(died), only_eye=True)
    assert told.until(day(ON)).traits == replace(told.traits, died_on=day(died) if known else None)
