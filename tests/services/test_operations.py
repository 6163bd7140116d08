"""Operations: what they write, what follows from them, and what is refused."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from followup.domain.errors import FollowUpError
from followup.models import Change, Course, Eye, Fill, Operation
from followup.queries.standing import site_standings
from followup.services.operations import correct_operation, mark_operation_in_error, record_operation
from tests.builders import (
    NOW,
    TODAY,
    days,
    make_appointment,
    make_decision,
    make_exam,
    make_eye,
    make_oil_operation,
    make_operation,
    make_session,
)
from tests.services.conftest import Clinic, last_change

LATER = NOW + timedelta(hours=1)


def operate(clinic: Clinic, eye: Eye | None = None, **fields: Any) -> Operation:
    dull: dict[str, Any] = {
        "date": days(-3),
        "indication": "rrd",
        "procedures": ["vitrectomy"],
        "tamponade_in": "sf6",
    }
    eye = eye or make_eye(patient=clinic.patient())
    return record_operation(by=clinic.surgeon, now=NOW, today=TODAY, eye=eye, **dull | fields)


def remove_oil(clinic: Clinic, eye: Eye, **fields: Any) -> Operation:
    dull: dict[str, Any] = {
        "indication": "tamponade_removal",
        "procedures": ["oil_removal"],
        "tamponade_in": "none",
        "takes_out": True,
    }
    return operate(clinic, eye, **dull | fields)


def test_an_operation_is_recorded_with_its_procedures(clinic: Clinic) -> None:
    operation = operate(
        clinic,
        procedures=["vitrectomy", "endolaser", "vitrectomy"],
        surgeon=clinic.surgeon,
        tamponade_percent=20,
        attached_at_end="yes",
    )
    assert (operation.surgeon, operation.tamponade_percent, operation.attached_at_end) == (
        clinic.surgeon,
        20,
        "yes",
    )
    change = last_change()
    assert (change.verb, change.patient) == ("record_operation", operation.eye.patient)
    assert change.after["procedures"] == ["endolaser", "vitrectomy"]
    assert Course.objects.get(eye=operation.eye).anchor == days(-3)


def test_oil_opens_a_fill_and_its_removal_ends_it(clinic: Clinic) -> None:
    eye = make_eye(patient=clinic.patient())
    placed = operate(clinic, eye, date=days(-80), procedures=["oil_insertion"], tamponade_in="oil_1000")
    assert Fill.objects.get(eye=eye).ended_on is None
    removed = remove_oil(clinic, eye)
    fill = Fill.objects.get(eye=eye)
    assert (fill.placed_by, fill.ended_by, fill.ended_on) == (placed, removed, days(-3))
    assert Course.objects.get(eye=eye, superseded_on=None).pathway.key == "after-oil-removal"


def test_an_exchange_keeps_the_first_insertion(clinic: Clinic) -> None:
    eye = clinic.oil_eye(date=days(-80))
    operate(clinic, eye, procedures=["oil_exchange"], tamponade_in="oil_5000", takes_out=True)
    fill = Fill.objects.get(eye=eye, ended_on=None)
    assert (fill.placed_on, fill.first_placed_on) == (days(-3), days(-80))


def test_a_new_operation_reopens_a_closed_eye(clinic: Clinic) -> None:
    eye = clinic.eye(date=days(-90))
    make_decision(eye=eye, kind="discharge", signed_on=days(-30))
    assert [row.standing.standing for row in site_standings(site=clinic.site, day=TODAY)] == ["closed"]
    operate(clinic, eye)
    assert [row.standing.standing for row in site_standings(site=clinic.site, day=TODAY)] != ["closed"]


def test_the_theatre_place_was_attended(clinic: Clinic) -> None:
    eye = clinic.oil_eye()
    theatre = make_session(site=clinic.site, kind="theatre", day=TODAY)
    place = make_appointment(session=theatre, eye=eye)
    remove_oil(clinic, eye, date=TODAY, appointment=place)
    place.refresh_from_db()
    assert place.state == "fulfilled"


@pytest.mark.parametrize(
    ("fields", "code", "field"),
    [
        ({"date": days(1)}, "in_the_future", "date"),
        ({"date": date(1959, 12, 31)}, "before_birth", "date"),
        ({"indication": "blind"}, "unknown_code", "indication"),
        ({"procedures": ["vitrectomy", "magic"]}, "unknown_code", "procedures"),
        ({"tamponade_in": "helium"}, "unknown_code", "tamponade_in"),
        ({"repeat": "2"}, "unknown_code", "repeat"),
        ({"extent": "big"}, "unknown_code", "extent"),
        ({"attached_at_end": "so-so"}, "unknown_code", "attached_at_end"),
        ({"date_precision": "week"}, "unknown_code", "date_precision"),
        ({"tamponade_percent": 0}, "percent", "tamponade_percent"),
        ({"tamponade_percent": 101}, "percent", "tamponade_percent"),
        ({"takes_out": True}, "nothing_to_take_out", "takes_out"),
        ({"procedures": ["oil_removal"], "tamponade_in": "none"}, "removal_takes_out", "takes_out"),
        ({"procedures": ["oil_exchange"], "tamponade_in": "oil"}, "removal_takes_out", "takes_out"),
        ({"procedures": ["oil_insertion"]}, "insertion_leaves_oil", "tamponade_in"),
        (
            {"procedures": ["oil_insertion"], "tamponade_in": "unknown"},
            "insertion_leaves_oil",
            "tamponade_in",
        ),
    ],
)
def test_an_operation_is_refused(clinic: Clinic, fields: dict[str, Any], code: str, field: str) -> None:
    eye = make_eye(patient=clinic.patient(birth_date=date(1960, 1, 1)))
    with pytest.raises(FollowUpError) as refused:
        operate(clinic, eye, **fields)
    assert (refused.value.code, refused.value.field) == (code, field)
    assert not Operation.objects.exists()
    assert not Change.objects.exists()


def test_nobody_is_operated_on_after_their_death(clinic: Clinic) -> None:
    with pytest.raises(FollowUpError) as refused:
        operate(clinic, make_eye(patient=clinic.patient(died_on=days(-4))))
    assert (refused.value.code, refused.value.field) == ("after_death", "date")


# What may be taken out


def test_oil_is_not_taken_out_of_the_fellow_eye(clinic: Clinic) -> None:
    oiled = clinic.oil_eye(side="right")
    fellow = clinic.eye(patient=oiled.patient, side="left", tamponade_in="none")
    with pytest.raises(FollowUpError) as refused:
        remove_oil(clinic, fellow)
    assert refused.value.code == "nothing_to_take_out"
    assert "LEFT eye" in refused.value.message


def test_oil_is_not_taken_out_before_it_was_put_in(clinic: Clinic) -> None:
    eye = clinic.oil_eye(date=days(-60))
    with pytest.raises(FollowUpError) as refused:
        remove_oil(clinic, eye, date=days(-61))
    assert refused.value.code == "nothing_to_take_out"


def test_oil_is_not_taken_out_twice(clinic: Clinic) -> None:
    eye = clinic.oil_eye()
    remove_oil(clinic, eye)
    with pytest.raises(FollowUpError) as refused:
        remove_oil(clinic, eye, date=days(-2))
    assert refused.value.code == "nothing_to_take_out"


def test_gas_on_record_is_not_taken_out_as_oil(clinic: Clinic) -> None:
    eye = clinic.eye(tamponade_in="c3f8")
    with pytest.raises(FollowUpError) as refused:
        remove_oil(clinic, eye)
    assert (refused.value.code, refused.value.field) == ("no_oil_to_take_out", "procedures")
    assert "C3F8" in refused.value.message


def test_an_unknown_tamponade_may_turn_out_to_be_oil(clinic: Clinic) -> None:
    eye = clinic.eye(tamponade_in="unknown")
    assert remove_oil(clinic, eye).takes_out


def test_gas_that_was_seen_gone_is_not_taken_out(clinic: Clinic) -> None:
    eye = clinic.eye(tamponade_in="sf6", date=days(-60))
    make_exam(eye=eye, day=days(-20), tamponade_seen="none")
    with pytest.raises(FollowUpError) as refused:
        operate(clinic, eye, takes_out=True)
    assert refused.value.code == "nothing_to_take_out"


# Corrections


def test_a_correction_keeps_the_earlier_values_and_plans_anew(clinic: Clinic) -> None:
    operation = operate(clinic, procedures=["vitrectomy"])
    corrected = correct_operation(
        by=clinic.surgeon,
        now=LATER,
        today=TODAY,
        operation=operation,
        date=days(-5),
        procedures=["vitrectomy", "oil_insertion"],
        tamponade_in="oil_1000",
        indication="rrd",
    )
    change = last_change()
    assert change.verb == "correct_operation"
    assert change.before == {"date": "2026-02-27", "tamponade_in": "sf6", "procedures": ["vitrectomy"]}
    assert change.after == {
        "date": "2026-02-25",
        "tamponade_in": "oil_1000",
        "procedures": ["oil_insertion", "vitrectomy"],
    }
    assert Fill.objects.get(eye=corrected.eye).placed_on == days(-5)


def test_a_correction_to_the_same_values_writes_nothing(clinic: Clinic) -> None:
    operation = operate(clinic)
    before = Change.objects.count()
    correct_operation(by=None, now=LATER, today=TODAY, operation=operation, date=days(-3), extent="unknown")
    assert Change.objects.count() == before


@pytest.mark.parametrize(
    ("changes", "code", "field"),
    [
        ({"date": days(1)}, "in_the_future", "date"),
        ({"indication": "x"}, "unknown_code", "indication"),
        ({"takes_out": True}, "nothing_to_take_out", "takes_out"),
        ({"procedures": ["oil_removal"]}, "removal_takes_out", "takes_out"),
    ],
)
def test_a_correction_is_judged_as_a_new_entry(
    clinic: Clinic, changes: dict[str, Any], code: str, field: str
) -> None:
    operation = operate(clinic)
    with pytest.raises(FollowUpError) as refused:
        correct_operation(by=None, now=LATER, today=TODAY, operation=operation, **changes)
    assert (refused.value.code, refused.value.field) == (code, field)
    operation.refresh_from_db()
    assert (operation.date, operation.takes_out) == (days(-3), False)


def test_an_operation_is_not_moved_to_the_other_eye(clinic: Clinic) -> None:
    with pytest.raises(TypeError, match="eye"):
        correct_operation(by=None, now=NOW, today=TODAY, operation=operate(clinic), eye=make_eye())


def test_an_operation_in_error_drops_out_and_stays_on_record(clinic: Clinic) -> None:
    eye = make_eye(patient=clinic.patient())
    make_oil_operation(eye=eye, date=days(-90))
    operation = remove_oil(clinic, eye)
    mark_operation_in_error(by=clinic.surgeon, now=LATER, operation=operation, reason="wrong eye")
    operation.refresh_from_db()
    assert (operation.in_error, operation.in_error_by, operation.in_error_reason) == (
        True,
        clinic.surgeon,
        "wrong eye",
    )
    assert Fill.objects.get(eye=eye).ended_on is None
    assert (last_change().verb, last_change().before["takes_out"]) == ("mark_operation_in_error", True)


@pytest.mark.parametrize(
    ("reason", "already", "code", "field"),
    [("", False, "missing", "reason"), ("wrong", True, "already_in_error", "")],
)
def test_an_entry_in_error_is_refused(
    clinic: Clinic, reason: str, already: bool, code: str, field: str
) -> None:
    operation = make_operation(site=clinic.site, in_error=already)
    with pytest.raises(FollowUpError) as refused:
        mark_operation_in_error(by=None, now=NOW, operation=operation, reason=reason)
    assert (refused.value.code, refused.value.field) == (code, field)


def test_an_operation_in_error_is_not_corrected(clinic: Clinic) -> None:
    operation = make_operation(site=clinic.site, in_error=True)
    with pytest.raises(FollowUpError) as refused:
        correct_operation(by=None, now=NOW, today=TODAY, operation=operation, note="x")
    assert refused.value.code == "already_in_error"
