"""Printing letters: all that wait, or one; and what a person agreed to."""

from __future__ import annotations

from collections.abc import Iterator
from io import BytesIO

import pytest
import time_machine
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from followup.models import Consent, ContactAttempt, PathwayVersion, Patient, PrintedLetter, Site
from tests.builders import NOW, days, make_appointment, make_patient, make_site, make_staff

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def monday() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def site(pathways: list[PathwayVersion]) -> Site:
    return make_site()


@pytest.fixture
def client(site: Site) -> Client:
    client = Client()
    client.force_login(make_staff(site=site), backend="django.contrib.auth.backends.ModelBackend")
    return client


def at_home(site: Site) -> Patient:
    return make_patient(site=site, postal_address="7 Palm Lane")


def test_the_ticked_letters_come_as_one_pdf_and_wait_no_more(client: Client, site: Site) -> None:
    places = [make_appointment(patient=at_home(site)) for _ in range(3)]
    unknown = make_appointment(patient=make_patient(site=site))
    shown = client.get(reverse("letters")).content.decode()
    assert shown.count('type="checkbox"') == 3
    assert f"No postal address of {unknown.patient} is on record." in shown
    ticked = [f"appointment-{place.pk}" for place in places[:2]]
    answer = client.post(reverse("letters"), {"letter": ticked})
    assert answer.headers["Content-Type"] == "application/pdf"
    assert len(PdfReader(BytesIO(answer.content)).pages) == 2
    assert PrintedLetter.objects.count() == 2
    assert client.get(reverse("letters")).content.decode().count('type="checkbox"') == 1


def test_nothing_ticked_prints_nothing(client: Client, site: Site) -> None:
    make_appointment(patient=at_home(site))
    assert "Tick the letters to print." in client.post(reverse("letters")).content.decode()
    assert not PrintedLetter.objects.exists()


def test_a_single_letter_is_printed_and_kept_as_an_attempt(client: Client, site: Site) -> None:
    patient = at_home(site)
    answer = client.post(reverse("not_reached_letter", args=[patient.pk]))
    assert answer.content.startswith(b"%PDF")
    assert ContactAttempt.objects.get().patient == patient


def test_a_letter_that_may_not_go_says_why(client: Client, site: Site) -> None:
    patient = make_patient(site=site)
    answer = client.post(reverse("not_reached_letter", args=[patient.pk]), follow=True)
    assert "No postal address" in answer.content.decode()
    assert not PrintedLetter.objects.exists()


def test_consent_is_given_and_withdrawn_on_its_page(client: Client, site: Site) -> None:
    patient = at_home(site)
    page = reverse("consents", args=[patient.pk])
    assert "Nobody has asked this person yet." in client.get(page).content.decode()
    client.post(page, {"answer": "give", "channel": "email", "day": days(-3).isoformat()})
    client.post(page, {"answer": "withdraw", "channel": "email", "day": ""})
    consent = Consent.objects.get()
    assert (consent.given_on, consent.withdrawn_on) == (days(-3), days(0))
    refused = client.post(page, {"answer": "withdraw", "channel": "email", "day": ""})
    assert "has no consent in force for this channel" in refused.content.decode()
