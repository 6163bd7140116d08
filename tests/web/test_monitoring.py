"""The quarters on their page, as a drawing and as a sheet, and the rate that the clinic sets itself."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from followup.models import Site
from tests.builders import TODAY, make_exam, make_operation, make_site, make_staff

pytestmark = pytest.mark.django_db


@pytest.fixture
def site() -> Site:
    site = make_site()
    for number in range(6):
        day = TODAY - timedelta(days=500)
        eye = make_operation(site=site, date=day).eye
        make_exam(eye=eye, day=day + timedelta(days=30), retina="attached")
        found = "attached" if number else "detached_macula_off"
        make_exam(eye=eye, day=day + timedelta(days=170), retina=found)
    return site


@pytest.fixture
def auditor(site: Site) -> Client:
    client = Client()
    client.force_login(make_staff(role="auditor", site=site))
    return client


def test_the_page_tells_the_share_its_interval_and_the_limits_of_chance(auditor: Client) -> None:
    text = auditor.get(reverse("audit_monitor")).content.decode()
    assert "1 of 6" in text
    assert "0 to 4 of 6" in text
    assert "within the limits of chance" in text
    assert "All judged quarters together: 16.7" in text
    assert "What this page cannot show" in text
    assert "has set no expected rate" in text


def test_the_audit_leads_to_it_with_the_same_choice(auditor: Client) -> None:
    text = auditor.get(reverse("audit")).content.decode()
    assert f'href="{reverse("audit_monitor")}?' in text


def test_a_rate_set_by_the_clinic_draws_the_running_line(site: Site, auditor: Client) -> None:
    without = auditor.get(reverse("audit_monitor_svg")).content
    Site.objects.filter(pk=site.pk).update(expected_recurrence_percent=10)
    assert (
        "After 6 eyes: 1 with the event, 0.6 expected"
        in auditor.get(reverse("audit_monitor")).content.decode()
    )
    drawn = auditor.get(reverse("audit_monitor_svg"))
    assert drawn["Content-Type"] == "image/svg+xml"
    assert len(drawn.content) > len(without)


def test_the_sheet_holds_both_tables_and_the_line(site: Site, auditor: Client) -> None:
    Site.objects.filter(pk=site.pk).update(expected_recurrence_percent=10)
    lines = auditor.get(reverse("audit_monitor_csv")).content.decode("utf-8-sig").splitlines()
    assert lines[1].startswith("Quarter,With the event,Share")
    assert lines[-6:][0].startswith("1,")
    assert lines[-1].startswith("6,1,0.4")


def test_an_address_that_names_no_cohort_is_refused_in_words(auditor: Client) -> None:
    for name in ("audit_monitor", "audit_monitor_svg", "audit_monitor_csv"):
        answer = auditor.get(reverse(name), {"colour": "red"})
        assert answer.status_code == 400
        assert "colour" in answer.content.decode()


def test_nobody_to_show_says_what_to_do() -> None:
    client = Client()
    client.force_login(make_staff(role="auditor", site=make_site()))
    assert "Widen the dates" in client.get(reverse("audit_monitor")).content.decode()
    assert client.get(reverse("audit_monitor_svg")).status_code == 200
