"""The telephone day: one person after another, both eyes in one call, and nobody called by two at once."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client

from followup.models import ContactAttempt, Eye, Site, Staff, SymptomReport
from tests.builders import days, make_appointment, make_staff
from tests.web.stories import gas_eye, oil_eye, send, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_nine")]


@pytest.fixture
def eyes(harbour: Site) -> list[Eye]:
    """Oil past its limit in one person, whose other eye is overdue too; and two more overdue people."""
    oil = oil_eye(harbour, days(-200))
    other = gas_eye(harbour, days(-40), patient=oil.patient, side="left")
    return [oil, other, gas_eye(harbour, days(-70)), gas_eye(harbour, days(-40))]


@pytest.fixture
def anna(harbour: Site, enter: Callable[[Staff], Client]) -> Client:
    return enter(make_staff(site=harbour, first_name="Anna", last_name="Bell"))


@pytest.fixture
def ben(harbour: Site, enter: Callable[[Staff], Client]) -> Client:
    return enter(make_staff(site=harbour, first_name="Ben", last_name="Cole"))


def go_on(client: Client) -> str:
    return client.post("/calls/next/").headers["Location"]


def test_both_eyes_of_a_person_are_one_call_with_the_step_its_words_and_the_number(
    anna: Client, eyes: list[Eye]
) -> None:
    eyes[0].patient.phone = "555 0142"
    eyes[0].patient.contact_note = "Her son's telephone; after six."
    eyes[0].patient.language = "ar"
    eyes[0].patient.save()
    day = text_of(anna.get("/calls/"))
    assert "3 people to reach today" in day
    assert "<strong>3</strong> left, <strong>0</strong> done today" in day
    page = text_of(anna.get(go_on(anna)))
    assert eyes[0].patient.name in page
    for said in (
        "RIGHT",
        "LEFT",
        "555 0142",
        "after six.",
        "Speaks Arabic",
        "Telephone",
        "say that a visit is due",
    ):
        assert said in page


def test_a_result_is_kept_and_the_next_person_is_shown(anna: Client, eyes: list[Eye]) -> None:
    first = go_on(anna)
    answer = anna.post(
        first, {"result": "no_answer", "channel": "phone", "reason": "work", "number_used": "1"}
    )
    assert answer.headers["Location"] not in (first, "/calls/")
    (made,) = ContactAttempt.objects.all()
    assert (made.patient, made.result, made.reason) == (eyes[0].patient, "no_answer", "work")
    assert "<strong>2</strong> left, <strong>1</strong> done today" in text_of(anna.get("/calls/"))


def test_at_the_end_of_the_list_the_day_is_done(anna: Client, eyes: list[Eye]) -> None:
    address = go_on(anna)
    for _ in range(3):
        address = anna.post(address, {"result": "no_answer", "channel": "phone"}).headers["Location"]
    assert address == "/calls/"
    page = text_of(anna.get(address))
    assert "Nobody is left to be reached today." in page
    assert "<strong>3</strong> done today" in page


def test_two_callers_are_never_shown_the_same_person(anna: Client, ben: Client, eyes: list[Eye]) -> None:
    hers, his = go_on(anna), go_on(ben)
    assert hers != his
    assert "Anna Bell is calling this person at this moment" in text_of(ben.get(hers))
    assert "Anna Bell is calling" in text_of(ben.get("/calls/"))
    refused = text_of(send(ben, hers, result="no_answer", channel="phone"))
    assert "Somebody else is calling" in refused
    assert not ContactAttempt.objects.exists()


def test_where_one_was_is_remembered(anna: Client, eyes: list[Eye]) -> None:
    address = go_on(anna)
    assert f"Go on with {eyes[0].patient.name}" in text_of(anna.get("/calls/"))
    assert go_on(anna) == address


def test_whoever_is_put_off_comes_again_after_the_others(anna: Client, eyes: list[Eye]) -> None:
    first = go_on(anna)
    seen = [first]
    address = anna.post(f"{first}later/").headers["Location"]
    while address not in seen:
        seen.append(address)
        address = anna.post(address, {"result": "no_answer", "channel": "phone"}).headers["Location"]
    assert (len(seen), address) == (3, first)


def test_a_person_is_taken_from_the_table(anna: Client, eyes: list[Eye]) -> None:
    address = f"/calls/{eyes[3].patient_id}/"
    assert "Take this call" in text_of(anna.get(address))
    page = text_of(send(anna, address, take="yes"))
    assert "What came of it" in page


def test_enter_in_a_box_keeps_nothing(anna: Client, eyes: list[Eye]) -> None:
    page = text_of(send(anna, go_on(anna), result="", channel="phone", note="x"))
    assert "Press the button, or the key, of what came of it." in page
    assert not ContactAttempt.objects.exists()


def test_who_will_come_is_booked_from_the_next_page(anna: Client, eyes: list[Eye]) -> None:
    page = text_of(send(anna, go_on(anna), result="will_come", channel="phone"))
    assert f'<a href="/eyes/{eyes[0].pk}/book/">Book a place now</a>' in page


def test_new_symptoms_go_to_the_clinician(anna: Client, eyes: list[Eye]) -> None:
    page = text_of(send(anna, go_on(anna), result="symptoms", channel="phone", note="Flashes"))
    assert "reports new symptoms: same-day care. Tell a surgeon now." in page
    assert SymptomReport.objects.get().note == "Flashes"


def test_a_place_ahead_takes_the_person_off_the_list(anna: Client, harbour: Site) -> None:
    eye = gas_eye(harbour, days(-40))
    make_appointment(patient=eye.patient, day=days(3))
    assert "Nobody is left" in text_of(anna.get("/calls/"))
