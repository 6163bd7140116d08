"""The last place booked by many at once: one booking, and for everybody else one clear refusal."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.db import connection

from followup.domain.errors import Refused
from followup.models import Appointment, Change, Patient, Session
from followup.services.booking import book_appointment
from tests.benchmarks.last_place import PEOPLE, Rounds
from tests.builders import NOW, TODAY, make_patient, make_session, make_site

AT_ONCE = 4


def book_when_all_are_ready(patient: Patient, session: Session, ready: Barrier) -> str:
    try:
        ready.wait(timeout=10)
        book_appointment(by=None, now=NOW, today=TODAY, patient=patient, session=session, lane="review")
    except Refused as refused:
        return refused.code
    finally:
        connection.close()
    return "booked"


@pytest.mark.django_db(transaction=True)
def test_the_last_place_is_booked_once() -> None:
    site = make_site()
    session = make_session(site=site, places=1)
    patients = [make_patient(site=site) for _ in range(AT_ONCE)]
    ready = Barrier(AT_ONCE)
    with ThreadPoolExecutor(AT_ONCE) as people:
        results = list(people.map(lambda patient: book_when_all_are_ready(patient, session, ready), patients))
    assert sorted(results) == ["booked", *["session_full"] * (AT_ONCE - 1)]
    assert Appointment.objects.count() == Change.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_one_person_booked_twice_at_once_holds_one_place() -> None:
    patient = make_patient()
    session = make_session(site=patient.site, places=AT_ONCE)
    ready = Barrier(AT_ONCE)
    with ThreadPoolExecutor(AT_ONCE) as people:
        results = list(people.map(lambda _: book_when_all_are_ready(patient, session, ready), range(AT_ONCE)))
    assert sorted(results) == [*["already_in_session"] * (AT_ONCE - 1), "booked"]
    assert Appointment.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_booked_moved_and_given_back_at_once_nothing_is_lost_and_nothing_overbooked() -> None:
    faults: list[str] = []
    with ThreadPoolExecutor(PEOPLE) as threads:
        rounds = Rounds(threads)
        said = [rounds.play(faults) for _ in range(3)]
        rounds.close()
    assert faults == []
    assert [(each["tries"], each["moved"], each["back"]) for each in said] == [(16, 1, 2)] * 3
