"""Where, in which language and in whose night."""

from __future__ import annotations

import pytest

from followup.domain.words import Channel, Language
from followup.models import Patient, Site
from followup.queries.contact import address_for, language_for, text_number, zone_for


@pytest.mark.parametrize(
    ("phone", "number"),
    [
        ("+20 (2) 5550-123", "+2025550123"),
        ("0151/555.01 99", "01515550199"),
        ("555012", "555012"),
        ("", ""),
        ("55501", ""),
        ("1234567890123456", ""),
        ("5550123, the daughter's", ""),
        ("5550123 or 5550124", ""),
        ("++20255501", ""),
    ],
)
def test_a_text_goes_to_one_number_and_to_nothing_that_might_be_another(phone: str, number: str) -> None:
    assert text_number(phone) == number


def test_an_email_goes_to_the_address_and_a_text_to_the_telephone() -> None:
    patient = Patient(email="amal@home.example", phone="555 0123")
    assert address_for(patient, Channel.EMAIL) == "amal@home.example"
    assert address_for(patient, Channel.TEXT) == "5550123"


@pytest.mark.parametrize(
    ("own", "of_site", "language"),
    [("Arabic", "en", Language.ARABIC), ("", "ar", Language.ARABIC), ("Turkish", "en", Language.ENGLISH)],
)
def test_the_person_s_own_language_comes_first(own: str, of_site: str, language: Language) -> None:
    assert language_for(Patient(language=own, site=Site(language=of_site))) is language


def test_the_night_is_the_person_s_own() -> None:
    site = Site(time_zone="Africa/Cairo")
    assert zone_for(Patient(site=site)) == "Africa/Cairo"
    assert zone_for(Patient(site=site, time_zone="Asia/Kathmandu")) == "Asia/Kathmandu"
