"""An answer is noted once, on the right appointment, from the right person, and frees nothing."""

from __future__ import annotations

from datetime import timedelta
from io import StringIO
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
import time_machine
from django.core.management import CommandError, call_command

from followup.domain.errors import FollowUpError
from followup.domain.words import Reply
from followup.models import Appointment, Change
from followup.queries.replies import patients_who_cannot_come
from followup.services.booking import cancel_appointment, move_appointment
from followup.services.people import change_patient
from followup.services.replies import record_reply
from tests.builders import NOW, TODAY, make_appointment, make_patient, make_session
from tests.services.conftest import Clinic, last_change

WRITTEN = NOW - timedelta(hours=1)
ADDRESS = "person@home.example"


@pytest.fixture
def appointment(clinic: Clinic) -> Appointment:
    return make_appointment(patient=clinic.patient(email=ADDRESS))


def answer(appointment: Appointment, **fields: Any) -> bool:
    dull = {
        "uid": str(appointment.uid),
        "sequence": appointment.sequence,
        "stamp": WRITTEN,
        "attendee": ADDRESS,
        "answer": Reply.DECLINED,
    }
    return record_reply(by=None, now=NOW, **dull | fields)[1]


def cannot_come(clinic: Clinic) -> list[Appointment]:
    return [row.appointment for row in patients_who_cannot_come(clinic.site, TODAY)]


def test_who_cannot_come_is_listed_and_keeps_the_place(clinic: Clinic, appointment: Appointment) -> None:
    assert answer(appointment)
    appointment.refresh_from_db()
    assert (appointment.state, appointment.sequence) == ("booked", 0)
    assert (appointment.reply, appointment.replied_at, appointment.reply_sequence) == ("declined", WRITTEN, 0)
    assert cannot_come(clinic) == [appointment]
    assert last_change().verb == "record_reply"
    assert last_change().before == {"reply": "", "replied_at": None, "reply_sequence": None}


def test_who_accepts_is_noted_and_not_listed(clinic: Clinic, appointment: Appointment) -> None:
    assert answer(appointment, answer=Reply.ACCEPTED, attendee="Person@HOME.example")
    assert Appointment.objects.get().reply == "accepted"
    assert cannot_come(clinic) == []


def test_the_same_answer_again_changes_nothing(appointment: Appointment) -> None:
    assert answer(appointment)
    before = Change.objects.count()
    assert not answer(appointment)
    assert Change.objects.count() == before


def test_a_person_may_think_again(clinic: Clinic, appointment: Appointment) -> None:
    answer(appointment)
    assert answer(appointment, answer=Reply.ACCEPTED, stamp=NOW)
    assert cannot_come(clinic) == []


def test_an_answer_dated_ahead_does_not_shut_out_later_ones(appointment: Appointment) -> None:
    answer(appointment, stamp=NOW + timedelta(days=300))
    assert Appointment.objects.get().replied_at == NOW
    assert not answer(appointment, stamp=NOW + timedelta(days=300))


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"uid": str(uuid4())}, "unknown_uid"),
        ({"uid": "visit@elsewhere.example"}, "unknown_uid"),
        ({"uid": ""}, "unknown_uid"),
        ({"attendee": "other@home.example"}, "other_person"),
        ({"attendee": ""}, "other_person"),
        ({"sequence": 1}, "unknown_sequence"),
    ],
)
def test_a_wrong_answer_is_refused(appointment: Appointment, fields: dict[str, Any], code: str) -> None:
    with pytest.raises(FollowUpError) as fault:
        answer(appointment, **fields)
    assert fault.value.code == code
    assert Appointment.objects.get().reply == ""


def test_an_older_answer_does_not_win(appointment: Appointment) -> None:
    answer(appointment)
    with pytest.raises(FollowUpError) as fault:
        answer(appointment, answer=Reply.ACCEPTED, stamp=WRITTEN - timedelta(minutes=1))
    assert fault.value.code == "older_answer"


def test_nobody_answers_for_a_person_without_an_address(clinic: Clinic) -> None:
    appointment = make_appointment(patient=make_patient(site=clinic.site, email=""))
    with pytest.raises(FollowUpError) as fault:
        answer(appointment, attendee="")
    assert fault.value.code == "other_person"


def test_an_answer_stands_for_the_time_it_was_given_to(clinic: Clinic, appointment: Appointment) -> None:
    answer(appointment)
    session = make_session(site=clinic.site, day=TODAY + timedelta(days=20))
    moved = move_appointment(by=None, now=NOW, today=TODAY, appointment=appointment, session=session)
    assert cannot_come(clinic) == []
    with pytest.raises(FollowUpError) as fault:
        answer(appointment, stamp=NOW, sequence=0)
    assert fault.value.code == "outdated"
    assert answer(moved, stamp=NOW)
    assert cannot_come(clinic) == [moved]


def test_a_cancelled_a_past_and_a_dead_persons_appointment_take_no_answer(
    clinic: Clinic, appointment: Appointment
) -> None:
    with pytest.raises(FollowUpError) as fault:
        record_reply(
            by=None,
            now=appointment.starts_at,
            uid=str(appointment.uid),
            sequence=0,
            stamp=WRITTEN,
            attendee=ADDRESS,
            answer=Reply.DECLINED,
        )
    assert fault.value.code == "appointment_past"
    cancel_appointment(by=None, now=NOW, appointment=appointment, cancelled_by="clinic", reason="Ill")
    with pytest.raises(FollowUpError) as fault:
        answer(appointment, sequence=1)
    assert fault.value.code == "wrong_state"
    appointment.patient.died_on = TODAY
    appointment.patient.save()
    with pytest.raises(FollowUpError) as fault:
        answer(appointment, sequence=1)
    assert fault.value.code == "patient_died"


def test_another_address_on_record_is_the_one_that_counts(clinic: Clinic, appointment: Appointment) -> None:
    change_patient(by=clinic.coordinator, now=NOW, patient=appointment.patient, email="new@home.example")
    with pytest.raises(FollowUpError) as fault:
        answer(appointment)
    assert fault.value.code == "other_person"
    assert answer(appointment, attendee="new@home.example")


def test_the_command_notes_an_answer_from_its_file(appointment: Appointment, tmp_path: Path) -> None:
    file = tmp_path / "reply.ics"
    file.write_text(
        "BEGIN:VCALENDAR\nMETHOD:REPLY\nBEGIN:VEVENT\n"
        f"UID:{appointment.uid}\nSEQUENCE:0\nDTSTAMP:20260302T080000Z\n"
        f"ATTENDEE;PARTSTAT=DECLINED:mailto:{ADDRESS}\nEND:VEVENT\nEND:VCALENDAR\n"
    )
    said = f"No. {appointment.patient.record_number}, 9 Mar 2026 09:00: Cannot come."
    for known in ("", " This was known already."):
        output = StringIO()
        with time_machine.travel(NOW, tick=False):
            call_command("calendar_reply", str(file), stdout=output)
        assert output.getvalue() == f"{said}{known}\n"
    file.write_text("<html>")
    with pytest.raises(CommandError, match="where an iCalendar file has BEGIN:VCALENDAR"):
        call_command("calendar_reply", str(file))
