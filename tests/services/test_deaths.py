"""A death closes both eyes, cancels what is booked and stops every message, all or nothing."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from followup.domain.errors import FollowUpError, NotAllowed
from followup.models import Appointment, Change, Decision, OutboxMessage, Patient
from followup.queries.standing import site_standings
from followup.services.booking import book_appointment
from followup.services.decisions import confirm_death, record_death, undo_death, undo_decision
from followup.services.outbox import patient_key
from tests.builders import (
    NOW,
    TODAY,
    days,
    make_appointment,
    make_eye,
    make_message,
    make_session,
    make_visit,
)
from tests.services.conftest import Clinic, last_change

LATER = NOW + timedelta(hours=1)


def report(clinic: Clinic, patient: Patient, **fields: Any) -> Patient:
    dull: dict[str, Any] = {"died_on": days(-3), "source": "Daughter, by telephone"}
    return record_death(by=clinic.coordinator, now=NOW, today=TODAY, patient=patient, **dull | fields)


def die(clinic: Clinic, patient: Patient, **fields: Any) -> list[Decision]:
    """Reported by the coordinator, confirmed by the surgeon."""
    report(clinic, patient, **fields)
    return confirm_death(by=clinic.surgeon, now=NOW, patient=patient)


def standings(clinic: Clinic) -> list[str]:
    return [row.standing.standing for row in site_standings(site=clinic.site, day=TODAY)]


def test_both_operated_eyes_are_closed_with_day_and_source(clinic: Clinic) -> None:
    patient = clinic.patient()
    right, left = clinic.oil_eye(patient=patient), clinic.eye(patient=patient, side="left")
    decisions = die(clinic, patient)
    assert [(d.eye, d.kind, d.signed_on, d.reason) for d in decisions] == [
        (right, "died", days(-3), "Daughter, by telephone"),
        (left, "died", days(-3), "Daughter, by telephone"),
    ]
    patient.refresh_from_db()
    assert patient.died_on == days(-3)
    assert standings(clinic) == ["closed", "closed"]
    assert {d.signed_by for d in decisions} == {clinic.surgeon}
    change = last_change()
    assert (change.verb, change.before) == ("confirm_death", {"death_to_confirm": True})


def test_until_a_second_person_confirms_it_messages_stop_and_nothing_else_happens(clinic: Clinic) -> None:
    eye = clinic.eye()
    place = make_appointment(patient=eye.patient)
    message = make_message(site=clinic.site, key=patient_key(eye.patient, "reminder", 1))
    patient = report(clinic, eye.patient)
    message.refresh_from_db()
    place.refresh_from_db()
    assert (message.state, place.state) == ("withheld", "booked")
    (row,) = site_standings(site=clinic.site, day=TODAY)
    assert row.standing.standing == "needs_decision"
    assert "A death on 27 Feb 2026 is reported: a second person confirms it" in row.standing.next_step
    assert not Decision.objects.exists()
    with pytest.raises(FollowUpError) as refused:
        book_appointment(
            by=clinic.coordinator,
            now=NOW,
            today=TODAY,
            patient=patient,
            session=make_session(site=clinic.site, day=days(9)),
            lane="review",
        )
    assert refused.value.code == "patient_died"


def test_nobody_confirms_a_death_that_they_reported(clinic: Clinic) -> None:
    patient = report(clinic, clinic.eye().patient)
    with pytest.raises(FollowUpError) as refused:
        confirm_death(by=clinic.coordinator, now=NOW, patient=patient)
    assert refused.value.code == "same_person"
    confirm_death(by=clinic.surgeon, now=NOW, patient=patient)
    with pytest.raises(FollowUpError) as again:
        confirm_death(by=clinic.surgeon, now=NOW, patient=patient)
    assert again.value.code == "nothing_to_confirm"


def test_a_report_is_taken_back_before_it_was_confirmed(clinic: Clinic) -> None:
    patient = report(clinic, clinic.eye().patient)
    undo_death(by=clinic.coordinator, now=LATER, today=TODAY, patient=patient, reason="same name")
    patient.refresh_from_db()
    assert (patient.died_on, patient.death_to_confirm, patient.death_reported_by) == (None, False, None)
    assert standings(clinic) != ["closed"]


def test_an_eye_never_operated_on_is_left_alone(clinic: Clinic) -> None:
    eye = make_eye(patient=clinic.patient())
    assert die(clinic, eye.patient) == []


def test_what_is_booked_from_that_day_on_is_cancelled(clinic: Clinic) -> None:
    eye = clinic.oil_eye()
    theatre = make_session(site=clinic.site, kind="theatre", day=days(4))
    places = {
        "ahead": make_appointment(patient=eye.patient),
        "theatre": make_appointment(session=theatre, eye=eye),
        "missed since": make_appointment(patient=eye.patient, day=days(-1)),
        "before": make_appointment(patient=eye.patient, day=days(-10)),
        "attended": make_appointment(patient=eye.patient, day=days(-12), state="fulfilled"),
        "somebody else": make_appointment(patient=clinic.patient()),
    }
    die(clinic, eye.patient)
    found = {name: Appointment.objects.get(pk=place.pk) for name, place in places.items()}
    assert {name: (place.state, place.cancelled_by) for name, place in found.items()} == {
        "ahead": ("cancelled", "death"),
        "theatre": ("cancelled", "death"),
        "missed since": ("cancelled", "death"),
        "before": ("booked", ""),
        "attended": ("fulfilled", ""),
        "somebody else": ("booked", ""),
    }
    assert found["ahead"].sequence == 1


def test_messages_to_that_person_and_no_other_are_withheld(clinic: Clinic) -> None:
    patient, other = clinic.patient(), clinic.patient()
    messages = {
        "due": make_message(site=clinic.site, key=patient_key(patient, "reminder", 1)),
        "sending": make_message(
            site=clinic.site, key=patient_key(patient, "reminder", 2), state="sending", lease_until=LATER
        ),
        "sent": make_message(site=clinic.site, key=patient_key(patient, "reminder", 3), state="sent"),
        "other": make_message(site=clinic.site, key=patient_key(other, "reminder", 1)),
        "digest": make_message(site=clinic.site),
    }
    report(clinic, patient)
    states = {name: OutboxMessage.objects.get(pk=m.pk).state for name, m in messages.items()}
    assert states == {
        "due": "withheld",
        "sending": "withheld",
        "sent": "sent",
        "other": "due",
        "digest": "due",
    }
    assert last_change().after["messages_withheld"] == 2


@pytest.mark.parametrize(
    ("fields", "code", "field"),
    [
        ({"died_on": days(1)}, "in_the_future", "died_on"),
        ({"died_on": days(-11)}, "seen_after_death", "died_on"),
        ({"died_on": date(1959, 12, 31)}, "seen_after_death", "died_on"),
        ({"source": " "}, "missing", "source"),
    ],
)
def test_a_death_is_refused(clinic: Clinic, fields: dict[str, Any], code: str, field: str) -> None:
    patient = clinic.patient(birth_date=date(1960, 1, 1))
    make_visit(patient=patient, day=days(-10))
    place = make_appointment(patient=patient)
    with pytest.raises(FollowUpError) as refused:
        die(clinic, patient, **fields)
    assert (refused.value.code, refused.value.field) == (code, field)
    place.refresh_from_db()
    assert place.state == "booked"
    assert not Change.objects.exists()


def test_nobody_dies_before_birth(clinic: Clinic) -> None:
    with pytest.raises(FollowUpError) as refused:
        die(clinic, clinic.patient(birth_date=TODAY))
    assert (refused.value.code, refused.value.field) == ("before_birth", "died_on")


def test_nobody_dies_twice(clinic: Clinic) -> None:
    patient = clinic.eye().patient
    die(clinic, patient)
    with pytest.raises(FollowUpError) as refused:
        report(clinic, patient)
    assert refused.value.code == "already_died"
    assert Decision.objects.count() == 1


def test_an_administrator_records_no_death(clinic: Clinic) -> None:
    with pytest.raises(NotAllowed):
        record_death(
            by=clinic.administrator, now=NOW, today=TODAY, patient=clinic.patient(), died_on=TODAY, source="x"
        )


def test_undoing_the_death_of_one_eye_undoes_it_for_both(clinic: Clinic) -> None:
    patient = clinic.patient()
    clinic.eye(patient=patient)
    clinic.eye(patient=patient, side="left")
    right, left = die(clinic, patient)
    undone = undo_decision(
        by=clinic.coordinator, now=LATER, today=TODAY, decision=left, reason="another of that name"
    )
    patient.refresh_from_db()
    right.refresh_from_db()
    assert (undone, patient.died_on) == (left, None)
    assert {d.undone_reason for d in (undone, right)} == {"another of that name"}
    assert "closed" not in standings(clinic)
    assert (last_change().verb, last_change().before) == (
        "undo_death",
        {"died_on": "2026-02-27", "death_to_confirm": False},
    )
    die(clinic, patient)
    assert Decision.objects.filter(undone_at=None).count() == 2


@pytest.mark.parametrize(
    ("died_on", "reason", "code"), [(None, "alive", "not_died"), (days(-3), " ", "missing")]
)
def test_an_undoing_is_refused(clinic: Clinic, died_on: date | None, reason: str, code: str) -> None:
    patient = clinic.patient(died_on=died_on)
    with pytest.raises(FollowUpError) as refused:
        undo_death(by=clinic.surgeon, now=NOW, today=TODAY, patient=patient, reason=reason)
    assert refused.value.code == code
