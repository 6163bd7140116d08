"""Finding, registering and showing people."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from followup.models import PageRead, Patient, Site, Staff
from tests.builders import days, make_acuity, make_exam, make_patient, make_site, make_staff
from tests.web.stories import gas_eye, oil_eye, send, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_nine")]


@pytest.fixture
def client(harbour: Site, enter: Callable[[Staff], Client]) -> Client:
    return enter(make_staff(site=harbour))


@pytest.mark.parametrize(
    ("typed", "found"),
    [
        ("0042", {"Ashgrove"}),
        ("ash", {"Ashgrove"}),
        ("ash mae", {"Ashgrove"}),
        ("mae kelm", set()),
        ("01632 960100", {"Kelmscot"}),
        ("960100", {"Kelmscot"}),
        ("960", set()),
        ("42", set()),
    ],
)
def test_a_patient_is_found_by_number_name_or_telephone(
    harbour: Site, client: Client, typed: str, found: set[str]
) -> None:
    make_patient(site=harbour, record_number="0042", family_name="Ashgrove", given_name="Maelis")
    make_patient(site=harbour, record_number="77", family_name="Kelmscot", phone="01632-960 100")
    make_patient(site=make_site(), record_number="0042", family_name="Elsewhere")
    page = text_of(client.get("/search/", {"q": typed}))
    assert {name for name in ("Ashgrove", "Kelmscot", "Elsewhere") if name in page} == found


def test_a_search_that_finds_nobody_offers_to_register(client: Client) -> None:
    page = text_of(client.get("/search/", {"q": "0099"}))
    assert '<a href="/patients/new/?number=0099">Register a new patient</a>' in page


def test_a_patient_is_registered_and_the_next_step_is_told(harbour: Site, client: Client) -> None:
    page = text_of(send(client, "/patients/new/", record_number="0042", family_name="Ashgrove"))
    assert "Ashgrove is registered. Record the operation next." in page
    assert Patient.objects.get().record_number == "0042"


def test_a_number_that_is_taken_is_refused_beside_its_field_and_nothing_typed_is_lost(
    harbour: Site, client: Client
) -> None:
    make_patient(site=harbour, record_number="0042", family_name="Ashgrove", given_name="")
    page = text_of(send(client, "/patients/new/", record_number="0042", family_name="Barley", phone="555"))
    assert 'id="id_record_number_error"><li>Record number 0042 belongs to Ashgrove already.' in page
    assert 'value="Barley"' in page
    assert 'value="555"' in page
    assert Patient.objects.count() == 1


def test_opening_a_patient_or_an_eye_is_kept(harbour: Site, client: Client) -> None:
    eye = gas_eye(harbour, days(-40))
    for address in (
        f"/patients/{eye.patient_id}/",
        f"/eyes/{eye.pk}/",
        f"/patients/{eye.patient_id}/history/",
    ):
        client.get(address)
        assert PageRead.objects.filter(patient=eye.patient, page=address, refused=False).exists()


def test_the_patient_s_page_shows_both_eyes_and_what_each_holds(harbour: Site, client: Client) -> None:
    right = oil_eye(harbour, days(-40))
    gas_eye(harbour, days(-10), patient=right.patient, side="left")
    page = text_of(client.get(f"/patients/{right.patient_id}/"))
    assert page.index('<span class="side">RIGHT</span> eye') < page.index(
        '<span class="side">LEFT</span> eye'
    )
    assert "Silicone oil 1000 cSt in this eye since 21 Jan 2026 (40 days)" in page
    assert "SF6 gas in this eye since 20 Feb 2026 (10 days)" in page
    assert "No flying, no travel to altitude, no nitrous oxide, until an examiner records" in page
    assert "Clinic: 555 0100. Out of hours: 555 0199." in page


def test_a_change_is_told_in_words_with_its_author(harbour: Site, enter: Callable[[Staff], Client]) -> None:
    client = enter(make_staff(site=harbour, first_name="Morgan", last_name="Vale"))
    patient = make_patient(site=harbour, record_number="0042", family_name="Ashgrove", given_name="")
    address = f"/patients/{patient.pk}/change/"
    send(client, address, record_number="0042", family_name="Ashgrove", sex="female")
    page = text_of(client.get(f"/patients/{patient.pk}/history/"))
    assert "<td>Morgan Vale</td> <td>Change patient</td>" in page
    assert "<li>Sex: Not recorded</li>" in page
    assert "<li>Sex: Female</li>" in page


@pytest.mark.parametrize("kind", ["patient", "eye"])
def test_a_long_history_costs_as_many_queries_as_a_short_one(
    harbour: Site, client: Client, kind: str
) -> None:
    eye = oil_eye(harbour, days(-120))
    address = f"/patients/{eye.patient_id}/" if kind == "patient" else f"/eyes/{eye.pk}/"
    counts = []
    for number in (1, 5):
        for _ in range(number):
            make_acuity(exam=make_exam(eye=eye, day=days(-100 - Patient.objects.count() - len(counts) - _)))
        with CaptureQueriesContext(connection) as asked:
            client.get(address)
        counts.append(len(asked))
    assert counts[1] == counts[0]
