"""The lists of the day: numbers that add up, words that need no colour, and a fixed number of queries."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from followup.models import Site, Staff
from tests.builders import (
    days,
    make_appointment,
    make_attempt,
    make_night_run,
    make_session,
    make_staff,
)
from tests.web.stories import gas_eye, oil_eye, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_nine")]


@pytest.fixture
def client(harbour: Site, enter: Callable[[Staff], Client]) -> Client:
    return enter(make_staff(role="surgeon", site=harbour))


def test_the_home_page_shows_a_sum_that_adds_up_and_leads_to_each_list(harbour: Site, client: Client) -> None:
    oil_eye(harbour, days(-120))
    gas_eye(harbour, days(-40))
    page = text_of(client.get("/"))
    assert '<a href="/recall/?standing=overdue"><strong>2</strong> Overdue</a>' in page
    assert "<strong>2</strong> Operated eyes" in page
    assert "1 eye with oil or heavy liquid past the limit" in page
    assert "do not add up" not in page


def test_another_program_reads_the_same_sum(harbour: Site, client: Client) -> None:
    oil_eye(harbour, days(-120))
    gas_eye(harbour, days(-40))
    answer = client.get("/standings.json").json()
    assert answer["site"] == "Harbour Eye Clinic"
    assert answer["day"] == "2026-03-02"
    assert answer["standings"]["overdue"] == 2
    assert sum(answer["standings"].values()) == answer["operated_eyes"] == 2


def test_a_new_clinic_is_told_what_to_do_first(client: Client) -> None:
    page = text_of(client.get("/"))
    assert "No operated eye is on record here yet." in page
    assert '<a href="/patients/new/">Register a patient</a> and record the operation' in page


def test_the_home_page_says_how_long_ago_the_night_s_worker_looked(harbour: Site, client: Client) -> None:
    assert "The worker has not run yet" in text_of(client.get("/"))
    make_night_run(site=harbour, job="tick", finished_at="2026-03-02T08:00:00Z")
    page = text_of(client.get("/"))
    assert "The worker last looked 1 hour ago" in page.replace("\xa0", " ")
    assert "That is too long" in page


def test_an_auditor_sees_the_sum_and_nobody_s_name(harbour: Site, enter: Callable[[Staff], Client]) -> None:
    eye = gas_eye(harbour, days(-40))
    page = text_of(enter(make_staff(role="auditor", site=harbour)).get("/"))
    assert "<strong>1</strong> Operated eyes" in page
    assert eye.patient.family_name not in page
    assert "Find a patient" not in page


def test_the_recall_list_says_overdue_and_the_side_in_words_with_the_reason(
    harbour: Site, client: Client
) -> None:
    eye = oil_eye(harbour, days(-120), side="left", only_eye=True)
    page = text_of(client.get("/recall/"))
    assert '<span class="side">LEFT</span>' in page
    assert '<span class="pressing nowrap">Overdue 118 days</span>' in page
    assert "Only eye" in page
    assert f'<a class="button" href="/patients/{eye.patient_id}/attempts/new/">Contact' in page
    assert f'Book<span class="hidden-text"> {eye.patient.name} LEFT</span>' in page


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ("", {"oil", "gas"}),
        ("standing=overdue&only_eye=on", {"oil"}),
        ("standing=waiting", set()),
        ("standing=all&lane=removal", set()),
        ("call_due=on", {"oil"}),
        ("standing=nonsense&lane=nonsense", {"oil", "gas"}),
    ],
)
def test_the_recall_list_can_be_narrowed_and_never_breaks_on_a_bad_link(
    harbour: Site, client: Client, asked: str, found: set[str]
) -> None:
    eyes = {"oil": oil_eye(harbour, days(-120), only_eye=True), "gas": gas_eye(harbour, days(-40))}
    make_attempt(patient=eyes["gas"].patient, next_step_on=days(1))
    page = text_of(client.get(f"/recall/?{asked}"))
    assert {name for name, eye in eyes.items() if eye.patient.name in page} == found
    assert ("No eye matches." in page) is (not found)


def test_the_oil_list_puts_the_eye_furthest_past_its_limit_first(harbour: Site, client: Client) -> None:
    within, past = oil_eye(harbour, days(-30)), oil_eye(harbour, days(-120))
    page = text_of(client.get("/oil/"))
    assert page.index(past.patient.name) < page.index(within.patient.name)
    assert '<span class="pressing">28 days past the limit</span>' in page
    assert "<strong>120 days</strong> since 2 Nov 2025" in page


def test_a_past_place_stays_on_its_list_until_somebody_says_what_happened(
    harbour: Site, client: Client
) -> None:
    eye = gas_eye(harbour, days(-40))
    place = make_appointment(patient=eye.patient, day=days(-3))
    assert eye.patient.name in text_of(client.get("/appointments/without-outcome/"))
    client.post(f"/appointments/{place.pk}/attended/")
    assert "Every past appointment has its outcome." in text_of(client.get("/appointments/without-outcome/"))


def test_why_somebody_did_not_come_is_told_in_words(harbour: Site, client: Client) -> None:
    place = make_appointment(site=harbour, day=days(-3), state="noshow", reason="feels_fine")
    page = text_of(client.get(f"/sessions/{place.session_id}/"))
    assert 'Did not attend<p class="quiet">Feels fine</p>' in page
    assert "Feels fine" in text_of(client.get(f"/patients/{place.patient_id}/"))


def test_why_a_place_was_cancelled_is_told_as_written(harbour: Site, client: Client) -> None:
    place = make_appointment(
        site=harbour, day=days(3), state="cancelled", cancelled_by="clinic", reason="Room flooded"
    )
    page = text_of(client.get(f"/sessions/{place.session_id}/"))
    assert 'Cancelled by the clinic<p class="quiet">Room flooded</p>' in page


def test_a_cancelled_session_offers_no_places(harbour: Site, client: Client) -> None:
    make_session(site=harbour, places=6, urgent_places=2, cancelled=True)
    page = text_of(client.get("/sessions/"))
    assert '<td class="number">None</td>' in page
    assert "6 of 6" not in page
    assert "kept for urgent people" not in page


LISTS = [
    "/",
    "/recall/?standing=all",
    "/oil/",
    "/decisions/",
    "/appointments/without-outcome/",
    "/search/?q=Fam",
]


@pytest.mark.parametrize("address", LISTS)
def test_five_eyes_cost_as_many_queries_as_one(harbour: Site, client: Client, address: str) -> None:
    counts = []
    for number in (1, 4):
        for _ in range(number):
            eye = oil_eye(harbour, days(-120))
            make_appointment(patient=eye.patient, day=days(-3))
            make_attempt(patient=eye.patient)
        with CaptureQueriesContext(connection) as asked:
            assert client.get(address).status_code == 200
        counts.append(len(asked))
    assert counts[1] == counts[0]
