"""A visit, both eyes on one form, acuity as people write it."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from followup.models import AcuityReading, Appointment, Exam, Eye, Site, Staff, Visit
from tests.builders import TODAY, days, make_appointment, make_staff
from tests.web.stories import gas_eye, send, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_nine")]


@pytest.fixture
def client(harbour: Site, enter: Callable[[Staff], Client]) -> Client:
    return enter(make_staff(role="surgeon", site=harbour))


@pytest.fixture
def eye(harbour: Site) -> Eye:
    return gas_eye(harbour, days(-28))


def form(**typed: Any) -> dict[str, Any]:
    """Fields are named eye__what here, as they stand eye-what on the form."""
    return {"day": "2026-03-02"} | {name.replace("__", "-"): value for name, value in typed.items()}


def test_both_eyes_are_recorded_and_the_review_is_met(client: Client, eye: Eye) -> None:
    typed = form(
        right__acuity_best="6/12-2",
        right__pressure="17",
        right__retina="attached",
        right__tamponade_seen="none",
        left__acuity_unaided="CF 1m",
    )
    page = text_of(send(client, f"/patients/{eye.patient_id}/visits/new/", **typed))
    assert "recorded." in page
    assert "in this eye since" not in page
    readings = {row.exam.eye.side: row for row in AcuityReading.objects.select_related("exam__eye")}
    assert readings["right"].logmar == Decimal("0.3410")
    assert readings["left"].category == "counting_fingers"
    assert "Met on 2 Mar 2026" in text_of(client.get(f"/eyes/{eye.pk}/"))


REFUSED = [
    ({"right-acuity_best": "06/09/2024"}, "id_right-acuity_best_error", "RIGHT eye, acuity"),
    (
        {"right-acuity_best": "6/9", "right-acuity_pinhole": "6/9 6/12"},
        "id_right-acuity_pinhole_error",
        "6/9 6/12",
    ),
    ({"left-pressure": "18/20"}, "id_left-pressure_error", 'LEFT eye, pressure "18/20" cannot be taken.'),
    ({"left-pressure": "0"}, "id_left-pressure_error", "write soft"),
    ({"right-pressure": "17", "day": "2026-03-03"}, "id_day_error", "lies in the future"),
    ({"right-fill_percent": "140"}, "id_right-fill_percent_error", "less than or equal to 100"),
]


@pytest.mark.parametrize(("typed", "field", "said"), REFUSED)
def test_what_cannot_be_read_is_refused_beside_its_box_and_nothing_is_lost(
    client: Client, eye: Eye, typed: dict[str, str], field: str, said: str
) -> None:
    note = {"left-note": "Came with her brother"}
    page = text_of(client.post(f"/patients/{eye.patient_id}/visits/new/", form() | typed | note))
    assert said in page[page.index(f'id="{field}"') :][:400]
    assert "Came with her brother" in page
    for value in typed.values():
        assert f'value="{value}"' in page
    assert not Visit.objects.exists()


def test_a_form_with_nothing_found_is_no_visit(client: Client, eye: Eye) -> None:
    page = text_of(send(client, f"/patients/{eye.patient_id}/visits/new/", **form()))
    assert "Nothing was entered for either eye. Enter what was found." in page
    assert not Visit.objects.exists()


def test_a_bare_number_is_refused_where_the_clinic_has_not_said_what_it_means(
    client: Client, eye: Eye
) -> None:
    Site.objects.update(bare_acuity="")
    address = f"/patients/{eye.patient_id}/visits/new/"
    page = text_of(send(client, address, **form(right__acuity_best="1.0")))
    assert 'RIGHT eye, acuity "1.0":' in page
    assert "A number alone is not accepted here." in page


def test_the_appointment_it_came_from_becomes_attended(client: Client, eye: Eye) -> None:
    place = make_appointment(patient=eye.patient, day=TODAY)
    address = f"/patients/{eye.patient_id}/visits/new/?appointment={place.pk}"
    assert f'<option value="{place.pk}" selected>' in text_of(client.get(address))
    send(client, address, **form(right__retina="attached", appointment=place.pk))
    assert Appointment.objects.get().state == "fulfilled"


def test_a_correction_starts_from_what_was_entered(client: Client, eye: Eye) -> None:
    typed = form(right__acuity_best="6/12", right__retina="attached", right__complications=["cataract"])
    send(client, f"/patients/{eye.patient_id}/visits/new/", **typed)
    address = f"/visits/{Visit.objects.get().pk}/correct/"
    page = text_of(client.get(address))
    assert 'name="right-acuity_best" value="6/12"' in page
    assert '<option value="attached" selected>' in page
    send(client, address, **form(right__acuity_best="6/9", right__retina="attached"))
    standing = Exam.objects.get(visit__in_error=False)
    assert [row.as_written for row in standing.acuities.all()] == ["6/9"]
    assert Visit.objects.filter(in_error=True).count() == 1


def test_a_visit_in_error_leaves_the_review_open(client: Client, eye: Eye) -> None:
    send(client, f"/patients/{eye.patient_id}/visits/new/", **form(right__retina="attached"))
    send(client, f"/visits/{Visit.objects.get().pk}/in-error/", reason="Somebody else")
    assert "Met on 2 Mar 2026" not in text_of(client.get(f"/eyes/{eye.pk}/"))
