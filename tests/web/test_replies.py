"""The address in a reminder: opening it changes nothing, the button frees the place, once."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from followup.interchange.messages.links import token_of
from followup.models import Appointment, Change
from followup.services.booking import book_appointment, cancel_appointment, mark_arrived, move_appointment
from tests.at_once import at_once
from tests.builders import (
    NEXT_WEEK,
    NOW,
    TODAY,
    days,
    make_appointment,
    make_patient,
    make_session,
    make_site,
)

pytestmark = pytest.mark.django_db

URGENT = "sudden loss of sight"
PHONE = "555 0199"


@pytest.fixture(autouse=True)
def monday() -> Iterator[time_machine.Coordinates]:
    with time_machine.travel(NOW, tick=False) as clock:
        yield clock


@pytest.fixture
def place() -> Appointment:
    site = make_site(phone="555 0100", urgent_phone=PHONE)
    return make_appointment(patient=make_patient(site=site))


def address(place: Appointment, sequence: int | None = None) -> str:
    token = token_of(place.uid, place.sequence if sequence is None else sequence)
    return reverse("cannot_come", args=[token])


def facts(place: Appointment) -> tuple[str, str, int, int]:
    now = Appointment.objects.get(pk=place.pk)
    return now.state, now.cancelled_by, now.sequence, Change.objects.count()


@pytest.mark.parametrize("prefetch", [{}, {"HTTP_SEC_PURPOSE": "prefetch"}, {"HTTP_PURPOSE": "prefetch"}])
@pytest.mark.parametrize("method", ["get", "head", "put", "delete", "options"])
def test_opening_the_address_changes_nothing(
    place: Appointment, method: str, prefetch: dict[str, str]
) -> None:
    answer = getattr(Client(), method)(address(place), **prefetch)
    assert answer.status_code == (200 if method in ("get", "head") else 405)
    assert facts(place) == ("booked", "", 0, 0)


def test_the_page_asks_before_it_does_anything_and_needs_no_sign_in(place: Appointment) -> None:
    answer = Client().get(address(place))
    shown = answer.content.decode()
    assert "Your visit is on Monday 9 March 2026 at 09:00." in shown
    assert "<button" in shown
    assert place.patient.family_name not in shown
    assert answer.headers["Cache-Control"].count("no-store") == 1
    assert answer.headers["X-Robots-Tag"] == "noindex"


def test_the_button_frees_the_place_once(place: Appointment) -> None:
    client, page = Client(), address(place)
    first, second = client.post(page), client.post(page)
    assert "Your place is free for somebody else" in first.content.decode()
    assert "You have answered already" in second.content.decode()
    assert facts(place) == ("cancelled", "patient", 1, 1)
    kept = Appointment.objects.get(pk=place.pk)
    assert (kept.reply, kept.replied_at, kept.reply_sequence) == ("declined", NOW, 0)
    change = Change.objects.get()
    assert (change.verb, change.by) == ("cancel_appointment", None)


def test_the_freed_place_can_be_booked_by_another(place: Appointment) -> None:
    place.session.places = 1
    place.session.save()
    Client().post(address(place))
    other = make_patient(site=place.patient.site)
    booked = book_appointment(
        by=None, now=NOW, today=TODAY, patient=other, session=place.session, lane="review"
    )
    assert booked.local_time == place.local_time


@pytest.mark.django_db(transaction=True)
def test_eight_buttons_pressed_at_once_cancel_once(place: Appointment) -> None:
    page = address(place)
    told = at_once(lambda: Client().post(page).content.decode())
    assert sum("Your place is free" in text for text in told) == 1
    assert sum("You have answered already" in text for text in told) == 7
    assert facts(place) == ("cancelled", "patient", 1, 1)


def test_the_address_of_an_old_date_does_not_cancel_the_new_one(place: Appointment) -> None:
    old = address(place)
    session = make_session(site=place.patient.site, day=NEXT_WEEK + timedelta(days=1))
    moved = move_appointment(by=None, now=NOW, today=TODAY, appointment=place, session=session)
    answer = Client().post(old)
    assert "was moved or cancelled" in answer.content.decode()
    assert facts(place)[:2] == ("booked", "")
    assert "Your place is free" in Client().post(address(moved)).content.decode()


def test_a_place_the_clinic_cancelled_is_not_answered_for(place: Appointment) -> None:
    cancel_appointment(by=None, now=NOW, appointment=place, cancelled_by="clinic", reason="Ill")
    assert "was moved or cancelled" in Client().post(address(place, 0)).content.decode()
    assert facts(place)[1] == "clinic"


def test_once_its_time_has_come_a_visit_is_not_given_back(
    place: Appointment, monday: time_machine.Coordinates
) -> None:
    monday.move_to(place.starts_at)
    assert "The time of this visit has come" in Client().post(address(place)).content.decode()
    mark_arrived(by=None, now=NOW, today=days(7), appointment=place)
    assert "was moved or cancelled" in Client().post(address(place, 0)).content.decode()
    assert facts(place)[0] == "arrived"


@pytest.mark.parametrize("method", ["get", "post"])
def test_a_forged_address_is_not_found_and_still_says_what_must_not_wait(
    place: Appointment, method: str
) -> None:
    # Only the token is forged: its digits may also stand in the words before it.
    before, token, _ = address(place).rsplit("/", 2)
    forged = f"{before}/{token.replace(str(place.uid)[0], '-')[:-2]}xx/"
    answer = getattr(Client(), method)(forged)
    assert answer.status_code == 404
    assert URGENT in answer.content.decode()
    assert facts(place) == ("booked", "", 0, 0)


def test_every_answer_says_what_must_not_wait_and_whom_to_ring(place: Appointment) -> None:
    client, page = Client(), address(place)
    for answer in [client.get(page), client.post(page), client.post(page), client.get(page)]:
        shown = answer.content.decode()
        assert URGENT in shown
        assert PHONE in shown


def test_the_page_speaks_the_person_s_language(place: Appointment) -> None:
    place.patient.language = "Arabic"
    place.patient.save()
    shown = Client().get(address(place)).content.decode()
    assert '<html lang="ar" dir="rtl">' in shown
    assert "لا أستطيع الحضور" in shown


def test_a_page_that_another_site_posts_is_refused(place: Appointment) -> None:
    client = Client(enforce_csrf_checks=True)
    assert client.post(address(place)).status_code == 403
    assert facts(place) == ("booked", "", 0, 0)
