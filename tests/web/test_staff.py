"""Who signs in, with which role and where; the settings of a clinic; the pathways in force."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client

from followup.models import Site, Staff
from tests.builders import make_patient, make_site, make_staff
from tests.web.stories import send, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_nine")]


@pytest.fixture
def administrator(harbour: Site) -> Staff:
    return make_staff(role="administrator", site=harbour)


@pytest.fixture
def client(administrator: Staff, enter: Callable[[Staff], Client]) -> Client:
    return enter(administrator)


def test_somebody_is_added_with_a_role_and_a_clinic(harbour: Site, client: Client) -> None:
    typed = {
        "username": "morgan",
        "role": "surgeon",
        "sites": [harbour.pk],
        "password": "harbour-lamp-eleven",
    }
    assert "morgan can sign in as morgan." in text_of(send(client, "/staff/new/", **typed))
    assert list(Staff.objects.get(username="morgan").sites.all()) == [harbour]


def test_a_weak_password_is_refused_beside_its_field(harbour: Site, client: Client) -> None:
    typed = {"username": "morgan", "role": "surgeon", "sites": [harbour.pk], "password": "short"}
    page = text_of(send(client, "/staff/new/", **typed))
    assert "too short" in page[page.index('id="id_password_error"') :][:200]
    assert not Staff.objects.filter(username="morgan").exists()


def test_a_clinic_the_administrator_cannot_see_is_not_theirs_to_take_away(
    harbour: Site, client: Client
) -> None:
    elsewhere = make_site()
    member = make_staff(sites=[harbour, elsewhere])
    send(client, f"/staff/{member.pk}/", role="auditor", sites=[harbour.pk], is_active="on")
    member.refresh_from_db()
    assert member.role == "auditor"
    assert set(member.sites.all()) == {harbour, elsewhere}


def test_nobody_takes_away_their_own_rights(harbour: Site, client: Client, administrator: Staff) -> None:
    address = f"/staff/{administrator.pk}/"
    page = text_of(send(client, address, role="auditor", sites=[harbour.pk], is_active="on"))
    assert "You cannot take away your own rights." in page


def test_one_s_own_password_is_changed_and_one_stays_signed_in(client: Client) -> None:
    page = text_of(send(client, "/password/", password="lamp-harbour-twelve"))
    assert "Your password is changed." in page


def test_an_unknown_time_zone_is_refused_beside_its_field(harbour: Site, client: Client) -> None:
    form = client.get("/site/settings/").context["form"]
    typed = {name: form[name].value() or "" for name in form.fields} | {"time_zone": "Mars/Crater"}
    page = text_of(client.post("/site/settings/", typed))
    assert "is not a time zone" in page[page.index('id="id_time_zone_error"') :][:200]
    harbour.refresh_from_db()
    assert harbour.time_zone == "UTC"


def test_the_pathways_in_force_are_shown_with_their_sources(client: Client) -> None:
    page = text_of(client.get("/pathways/"))
    assert page.index("Oil in place") < page.index("For every operation that no other pathway fits.")
    assert "<td>2 months</td><td>Counted from this fill</td><td>3 months</td>" in page
    assert "Source: Intervals and windows: common practice, no source." in page


def test_in_the_administration_clinical_rows_are_shown_and_cannot_be_written(
    harbour: Site, enter: Callable[[Staff], Client]
) -> None:
    patient = make_patient(site=harbour)
    client = enter(make_staff(role="administrator", site=harbour, is_staff=True, is_superuser=True))
    assert client.get("/admin/").status_code == 200
    assert client.get(f"/admin/followup/patient/{patient.pk}/change/").status_code == 200
    typed = {"family_name": "Changed"}
    assert client.post(f"/admin/followup/patient/{patient.pk}/change/", typed).status_code == 403
    assert client.get("/admin/followup/patient/add/").status_code == 403
    assert client.post(f"/admin/followup/patient/{patient.pk}/delete/", {"post": "yes"}).status_code == 403
    assert client.get("/admin/followup/staff/add/").status_code == 200


@pytest.mark.parametrize(
    ("name", "value", "expected"),
    [
        ("expected_recurrence_percent", "0", "above 0 and below 100"),
        ("expected_recurrence_percent", "100", "above 0 and below 100"),
        ("digest_hour", "24", "hour from 0 to 23"),
        ("quiet_from_hour", "25", "hour from 0 to 23"),
        ("horizon_days", "367", "at most 366 days"),
        ("sessions_weeks_ahead", "0", "1 to 104 weeks"),
    ],
)
def test_a_setting_that_cannot_be_is_refused_with_what_is_expected(
    harbour: Site, client: Client, name: str, value: str, expected: str
) -> None:
    form = client.get("/site/settings/").context["form"]
    typed = {name: form[name].value() for name in form.fields if form[name].value() is not None}
    assert expected in text_of(client.post("/site/settings/", typed | {name: value}))
    before = getattr(harbour, name)
    harbour.refresh_from_db()
    assert getattr(harbour, name) == before
