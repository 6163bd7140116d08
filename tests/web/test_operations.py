"""Operations typed into the form: what follows from them, and what is refused beside which field."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client

from followup.models import Eye, Operation, Patient, Site, Staff
from tests.builders import days, make_patient, make_staff
from tests.web.stories import oil_eye, send, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_nine")]

OIL: dict[str, Any] = {
    "side": "left",
    "date": "2026-02-02",
    "indication": "pvr",
    "procedures": ["vitrectomy", "oil_insertion"],
    "tamponade_in": "oil_1000",
}


@pytest.fixture
def client(harbour: Site, enter: Callable[[Staff], Client]) -> Client:
    return enter(make_staff(role="surgeon", site=harbour))


@pytest.fixture
def patient(harbour: Site) -> Patient:
    return make_patient(site=harbour, birth_date="1960-05-01")


def test_an_operation_with_oil_starts_reviews_and_a_removal(client: Client, patient: Patient) -> None:
    page = text_of(send(client, f"/patients/{patient.pk}/operations/new/", **OIL))
    assert "Operation on the LEFT eye recorded." in page
    assert "Oil removal: between 2 Apr 2026 and 2 May 2026." in page or "Oil removal: book between" in page
    assert "Silicone oil 1000 cSt in this eye since 2 Feb 2026 (28 days)" in page


REFUSED = [
    ({"date": "2026-03-03"}, "id_date_error", "lies in the future. Today is 2 Mar 2026."),
    ({"date": "1959-01-01"}, "id_date_error", "is before"),
    ({"tamponade_in": "sf6"}, "id_tamponade_in_error", '"Silicone oil insertion" leaves oil in the eye'),
    (
        {"procedures": ["oil_removal"], "tamponade_in": "none", "takes_out": "on"},
        "id_takes_out_error",
        "LEFT eye",
    ),
    ({"procedures": ["oil_removal"], "tamponade_in": "none"}, "id_takes_out_error", "takes a tamponade out"),
    ({"side": ""}, "id_side_error", "This field is required."),
    ({"tamponade_in": ""}, "id_tamponade_in_error", "This field is required."),
]


@pytest.mark.parametrize(("typed", "field", "said"), REFUSED)
def test_what_cannot_be_is_refused_beside_its_field_and_nothing_is_lost(
    client: Client, patient: Patient, typed: dict[str, Any], field: str, said: str
) -> None:
    answer = client.post(f"/patients/{patient.pk}/operations/new/", OIL | typed | {"note": "Left eye first"})
    page = text_of(answer)
    assert said in page[page.index(f'id="{field}"') :][:400]
    assert "<strong>Nothing was saved.</strong>" in page
    assert "Left eye first" in page
    assert not Operation.objects.exists()
    assert not Eye.objects.exists()


def test_a_correction_plans_the_eye_anew(harbour: Site, client: Client) -> None:
    eye = oil_eye(harbour, days(-120))
    operation = Operation.objects.get()
    typed = OIL | {"date": "2026-02-02"}
    page = text_of(send(client, f"/operations/{operation.pk}/correct/", **typed))
    assert "The operation is corrected" in page
    assert "counted from 2 Feb 2026" in text_of(client.get(f"/eyes/{eye.pk}/"))


def test_an_entry_in_error_stays_in_sight_and_drops_out_of_the_plan(harbour: Site, client: Client) -> None:
    eye = oil_eye(harbour, days(-120))
    address = f"/operations/{Operation.objects.get().pk}/in-error/"
    assert "This field is required." in text_of(send(client, address, reason=""))
    page = text_of(send(client, address, reason="Wrong patient"))
    assert "Entered in error: Wrong patient" in page
    assert "No operation on this eye is on record" in page
    assert "<strong>0</strong> Operated eyes" in text_of(client.get("/"))
    assert eye.patient.name not in text_of(client.get("/oil/"))
