"""Likely duplicates are looked at side by side, merged, kept apart, and taken apart again."""

from __future__ import annotations

from datetime import date

import pytest
from django.test import Client
from django.urls import reverse

from followup.interchange.sheets.apply import preview
from followup.models import KeptApart, Merge, PathwayVersion, Patient, Site
from tests.builders import TODAY, make_patient, make_site, make_staff
from tests.interchange.sheets.helpers import log, log_map

pytestmark = pytest.mark.django_db


@pytest.fixture
def site(pathways: list[PathwayVersion]) -> Site:
    return make_site()


@pytest.fixture
def pair(site: Site) -> tuple[Patient, Patient]:
    born = date(1954, 9, 6)
    return (
        make_patient(site=site, record_number="0012", family_name="Vale", given_name="Orin", birth_date=born),
        make_patient(site=site, record_number="0944", family_name="Vail", given_name="Orin", birth_date=born),
    )


@pytest.fixture
def client(site: Site) -> Client:
    client = Client()
    client.force_login(make_staff(site=site), backend="django.contrib.auth.backends.ModelBackend")
    return client


def test_a_pair_is_listed_and_shown_side_by_side(client: Client, pair: tuple[Patient, Patient]) -> None:
    first, second = pair
    assert "0944" in client.get(reverse("duplicates")).content.decode()
    page = client.get(reverse("beside", args=[first.pk]), {"other": second.pk})
    rows = {label: (one, other, differs) for label, one, other, differs in page.context["rows"]}
    assert rows["Family name"] == ("Vale", "Vail", True)
    assert rows["Born"] == (date(1954, 9, 6), date(1954, 9, 6), False)


def test_merged_records_are_found_by_both_numbers_and_taken_apart(
    client: Client, pair: tuple[Patient, Patient], site: Site
) -> None:
    first, second = pair
    told = client.post(reverse("beside", args=[first.pk]), {"other": second.pk}, follow=True).content.decode()
    assert "0944 is now part of 0012." in told
    assert "Also 0944" in told
    assert "was merged into" in client.get(reverse("patient", args=[second.pk])).content.decode()
    checked = preview(
        site=site,
        today=TODAY,
        content=log("0944,,R,2025-01-10,vitrectomy,oil,,,"),
        column_map=log_map(),
    )
    assert checked.rows[0].problems[0]["reason"] == "0944 was merged into 0012: entered there."
    merge = Merge.objects.get()
    told = client.post(reverse("undo_merge", args=[merge.pk]), follow=True).content.decode()
    assert "0944 is a record of its own again." in told


def test_two_people_are_not_proposed_again(client: Client, pair: tuple[Patient, Patient]) -> None:
    first, second = pair
    client.post(reverse("beside", args=[first.pk]), {"other": second.pk, "apart": "1"})
    assert KeptApart.objects.exists()
    assert "No two records" in client.get(reverse("duplicates")).content.decode()


def test_a_refused_merge_says_why_beside_the_records(client: Client, pair: tuple[Patient, Patient]) -> None:
    first, second = pair
    Patient.objects.filter(pk=second.pk).update(died_on=date(2025, 1, 1))
    told = client.post(reverse("beside", args=[first.pk]), {"other": second.pk}, follow=True).content.decode()
    assert "Mark one as entered in error, then merge." in told
    assert not Merge.objects.exists()
