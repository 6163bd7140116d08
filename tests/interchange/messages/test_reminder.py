"""The text of a reminder: the visit, a way to give it back, and what must not wait; nothing of the eye."""

from __future__ import annotations

from datetime import time
from uuid import UUID

import pytest
from django.conf import LazySettings
from django.urls import reverse

from followup.domain.words import Channel
from followup.interchange.messages.links import (
    cannot_come_address,
    read_stop_token,
    read_token,
    stop_address,
    stop_token,
    token_of,
)
from followup.interchange.messages.reminder import compose_reminder
from followup.queries.cautions import URGENT_SYMPTOMS
from followup.queries.reminders import Reminder
from tests.builders import make_appointment, make_eye, make_patient, make_session, make_site

UID = UUID("12345678-1234-5678-1234-567812345678")

EMAIL = """\
You have a visit at Harbour & Hill on Monday 9 March 2026 at 09:20.

If you cannot come, open this address and press the button, so that somebody else gets the place:
{address}

New curtain or shadow, new flashes or a shower of floaters, sudden loss of sight, severe pain or headache \
with vomiting, increasing redness or discharge: same-day care, whatever the schedule says. Clinic: 555 0100. \
Out of hours: 555 0199.

You get this because you agreed to it. To stop such messages, open this address and press the button, \
or tell the clinic:
{stop}
"""

TEXT = """\
Harbour & Hill: your visit is on Monday 9 March 2026 at 09:20. Cannot come? {address}
New curtain or shadow, new flashes or a shower of floaters, sudden loss of sight, severe pain or headache \
with vomiting, increasing redness or discharge: same-day care, whatever the schedule says. Clinic: 555 0100. \
Out of hours: 555 0199.
Stop these messages: {stop}
"""


def reminder(channel: Channel = Channel.EMAIL, **fields: object) -> Reminder:
    """Of a removal of oil from a right eye: a text that may tell of neither."""
    site = make_site(name="Harbour & Hill", phone="555 0100", urgent_phone="555 0199")
    patient = make_patient(site=site, family_name="Farouk", record_number="R777", **fields)
    theatre = make_session(site=site, kind="theatre", title="Oil removal list")
    eye = make_eye(patient=patient)
    place = make_appointment(eye=eye, session=theatre, local_time=time(9, 20), note="Silicone oil, right")
    return Reminder(place, 7, channel, "amal@home.example")


def addresses(wanted: Reminder) -> dict[str, str]:
    place = wanted.appointment
    return {"address": cannot_come_address(place), "stop": stop_address(place.patient_id, wanted.channel)}


def without_addresses(told: str, wanted: Reminder) -> str:
    for address in addresses(wanted).values():
        told = told.replace(address, "")
    return told


@pytest.mark.django_db
def test_an_email_tells_when_and_where_and_how_to_give_the_place_back() -> None:
    wanted = reminder()
    subject, body = compose_reminder(wanted)
    assert subject == "Your visit at Harbour & Hill on Monday 9 March 2026"
    assert body == EMAIL.format(**addresses(wanted))


@pytest.mark.django_db
def test_a_text_message_tells_the_same_in_short() -> None:
    wanted = reminder(Channel.TEXT)
    assert compose_reminder(wanted) == ("", TEXT.format(**addresses(wanted)))


@pytest.mark.django_db
@pytest.mark.parametrize("channel", [Channel.EMAIL, Channel.TEXT])
def test_in_arabic_every_sentence_is_arabic(channel: Channel) -> None:
    wanted = reminder(channel, language="Arabic")
    subject, body = compose_reminder(wanted)
    told = without_addresses(body, wanted).replace("Harbour & Hill", "")
    assert "09:20" in told
    assert "555 0100" in told
    assert [
        letter for letter in told + subject.replace("Harbour & Hill", "") if "a" <= letter.lower() <= "z"
    ] == []
    assert "مارس" in told


@pytest.mark.django_db
@pytest.mark.parametrize("language", ["English", "Arabic"])
@pytest.mark.parametrize("channel", [Channel.EMAIL, Channel.TEXT])
def test_nothing_tells_of_eye_diagnosis_or_person(channel: Channel, language: str) -> None:
    wanted = reminder(channel, language=language)
    told = without_addresses(" ".join(compose_reminder(wanted)), wanted).lower()
    for word in ["oil", "right", "eye", "removal", "theatre", "farouk", "r777", "زيت", "اليمنى", "عين"]:
        assert word not in told


def test_the_urgent_symptoms_are_those_of_every_page() -> None:
    assert URGENT_SYMPTOMS in EMAIL
    assert URGENT_SYMPTOMS in TEXT


def test_an_address_names_one_visit_at_one_sequence_number() -> None:
    assert read_token(token_of(UID, 3)) == (UID, 3)
    assert token_of(UID, 3) != token_of(UID, 4)


@pytest.mark.parametrize(
    "forged",
    [
        "",
        "x",
        token_of(UID, 3)[:-1],
        token_of(UID, 3).replace(".3.", ".4."),
        "." + token_of(UID, 3),
        f"{UID}.3",
        token_of(UID, 3).upper(),
    ],
)
def test_an_address_that_was_not_signed_here_is_nothing(forged: str) -> None:
    assert read_token(forged) is None


def test_an_address_that_stops_messages_names_one_person_and_one_channel_and_is_no_other_address() -> None:
    token = stop_token(7, Channel.TEXT)
    assert read_stop_token(token) == (7, Channel.TEXT)
    forged = ["", "7.text", token[:-1], token.replace("7.", "8."), token.replace("text", "email")]
    assert [read_stop_token(other) for other in [*forged, token_of(UID, 3)]] == [None] * 6
    assert read_token(token) is None


def test_an_address_signed_with_another_key_is_nothing(settings: LazySettings) -> None:
    token = token_of(UID, 3)
    settings.SECRET_KEY = "another"
    assert read_token(token) is None


@pytest.mark.django_db
def test_the_address_is_that_of_the_page(settings: LazySettings) -> None:
    settings.BASE_URL = "https://follow-up.clinic.example/"
    place = make_appointment()
    page = reverse("cannot_come", args=[token_of(place.uid, place.sequence)])
    assert cannot_come_address(place) == f"https://follow-up.clinic.example{page}"
