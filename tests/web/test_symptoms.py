"""New symptoms in two steps from anywhere, first on every list, answered by a surgeon."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client

from followup.models import Eye, Site, Staff, SymptomReport
from tests.builders import days, make_report, make_session, make_staff
from tests.web.stories import gas_eye, oil_eye, send, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_nine")]


@pytest.fixture
def eye(harbour: Site) -> Eye:
    return gas_eye(harbour, days(-20))


@pytest.mark.parametrize("role", ["coordinator", "surgeon", "auditor", "administrator"])
def test_from_the_header_to_the_person_to_the_note(
    harbour: Site, enter: Callable[[Staff], Client], eye: Eye, role: str
) -> None:
    client = enter(make_staff(role=role, site=harbour))
    assert '<a class="button urgent-link" href="/symptoms/">New symptoms</a>' in text_of(client.get("/"))
    address = f"/patients/{eye.patient_id}/symptoms/"
    found = text_of(client.get(f"/symptoms/?q={eye.patient.record_number}"))
    assert address in found
    assert "same-day care, whatever the schedule says" in found
    page = text_of(send(client, address, note="Curtain since this morning"))
    assert "Tell a surgeon now" in page
    (told,) = SymptomReport.objects.all()
    assert (told.patient, told.note, told.recorded_by.role) == (
        eye.patient,
        "Curtain since this morning",
        role,
    )


@pytest.mark.parametrize("page", ["/", "/recall/", "/decisions/"])
def test_it_stands_before_everything_else(
    harbour: Site, enter: Callable[[Staff], Client], eye: Eye, page: str
) -> None:
    oil_eye(harbour, days(-200))
    told = make_report(patient=eye.patient)
    shown = text_of(enter(make_staff(role="surgeon", site=harbour)).get(page))
    main = shown[shown.index('id="content"') :]
    place = main.index("A curtain since this morning")
    assert place < min(main.index(part) for part in ("<table", "What today asks") if part in main)
    assert f"/symptoms/{told.pk}/answer/" in main


def test_a_surgeon_signs_what_to_do_and_then_a_place_can_be_booked(
    harbour: Site, enter: Callable[[Staff], Client], eye: Eye
) -> None:
    told = make_report(patient=eye.patient)
    session = make_session(site=harbour, day=days(9))
    coordinator = enter(make_staff(site=harbour))
    refused = text_of(send(coordinator, f"/eyes/{eye.pk}/book/", session=session.pk))
    assert "same-day care, not a routine place" in refused
    surgeon = enter(make_staff(role="surgeon", site=harbour, first_name="Robin", last_name="Sands"))
    page = text_of(send(surgeon, f"/symptoms/{told.pk}/answer/", answer="Seen at noon; laser"))
    assert "Robin Sands signed on 2 Mar 2026: Seen at noon; laser" in page
    assert "Booked:" in text_of(send(coordinator, f"/eyes/{eye.pk}/book/", session=session.pk))


def test_a_report_without_a_word_is_refused(
    harbour: Site, enter: Callable[[Staff], Client], eye: Eye
) -> None:
    page = text_of(send(enter(make_staff(site=harbour)), f"/patients/{eye.patient_id}/symptoms/", note=""))
    assert "This field is required." in page


def test_a_question_offers_the_decisions_that_fit(
    harbour: Site, enter: Callable[[Staff], Client], eye: Eye
) -> None:
    make_report(patient=eye.patient)
    page = text_of(enter(make_staff(role="surgeon", site=harbour)).get("/decisions/"))
    assert f'href="/eyes/{eye.pk}/decide/?kind=plan"' in page
    assert f'href="/eyes/{eye.pk}/decide/?kind=see_again"' in page
    assert f'href="/eyes/{eye.pk}/decide/?kind=discharge"' not in page
