"""The address that stops messages: opening it changes nothing, the button withdraws consent, once."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from followup.domain.words import Channel
from followup.interchange.messages.links import stop_token
from followup.models import Change, OutboxMessage, Patient
from followup.queries.contact import agrees_to
from followup.services.consent import give_consent
from followup.services.outbox import patient_key
from tests.builders import NOW, TODAY, make_message, make_patient, make_site, make_staff

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_nine")]
ONE_CLICK = {"List-Unsubscribe": "One-Click"}


@pytest.fixture
def patient() -> Patient:
    """Agreed to e-mails and to text messages."""
    patient = make_patient(site=make_site(urgent_phone="555 0199"))
    by = make_staff(site=patient.site)
    for channel in ("email", "text"):
        give_consent(by=by, now=NOW, today=TODAY, patient=patient, channel=channel)
    return patient


def address(patient: Patient) -> str:
    return reverse("stop_messages", args=[stop_token(patient.pk, Channel.EMAIL)])


def agreed(patient: Patient) -> tuple[bool, bool]:
    return agrees_to(patient, Channel.EMAIL), agrees_to(patient, Channel.TEXT)


@pytest.mark.parametrize("method", ["get", "head", "put", "delete", "options"])
def test_opening_the_address_changes_nothing(patient: Patient, method: str) -> None:
    assert getattr(Client(), method)(address(patient)).status_code == (
        200 if method in ("get", "head") else 405
    )
    assert agreed(patient) == (True, True)


@pytest.mark.parametrize("typed", [{}, ONE_CLICK], ids=["the button", "a mail program (RFC 8058)"])
def test_the_button_stops_that_channel_alone_and_what_waits_on_it(
    patient: Patient, typed: dict[str, str]
) -> None:
    for channel in ("email", "text"):
        make_message(key=patient_key(patient, channel), channel=channel, site=patient.site, kind="reminder")
    client = Client(enforce_csrf_checks=True)
    shown = client.post(address(patient), typed).content.decode()
    assert "You get no more of these messages." in shown
    assert "555 0199" in shown
    assert patient.family_name not in shown
    assert agreed(patient) == (False, True)
    assert dict(OutboxMessage.objects.values_list("channel", "state")) == {"email": "withheld", "text": "due"}
    withdrawn = Change.objects.get(verb="withdraw_consent")
    assert (withdrawn.by, withdrawn.patient) == (None, patient)
    assert "You get no more of these messages." in client.post(address(patient)).content.decode()
    assert Change.objects.filter(verb="withdraw_consent").count() == 1


def test_the_page_asks_first_in_the_person_s_language(patient: Patient) -> None:
    assert (
        "Press the button if you do not want them any more."
        in Client().get(address(patient)).content.decode()
    )
    Patient.objects.update(language="Arabic")
    shown = Client().get(address(patient)).content.decode()
    assert '<html lang="ar" dir="rtl">' in shown
    assert "إيقاف هذه الرسائل" in shown


@pytest.mark.parametrize("method", ["get", "post"])
def test_a_forged_address_stops_nothing(patient: Patient, method: str) -> None:
    forged = address(patient).replace(f"/{patient.pk}.", "/0.")
    answer = getattr(Client(), method)(forged)
    assert answer.status_code == 404
    assert "same-day care" in answer.content.decode()
    assert agreed(patient) == (True, True)
