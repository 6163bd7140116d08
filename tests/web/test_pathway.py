"""Editing a pathway: the text, what it would do, the acceptance."""

from __future__ import annotations

from datetime import date

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from followup.models import Course, Eye, PathwayVersion, Site
from followup.services.pathway import replan_eye
from tests.builders import make_exam, make_eye, make_operation, make_site, make_staff

pytestmark = pytest.mark.django_db
ADDRESS = "/pathways/after-gas/edit/"


@pytest.fixture
def site(pathways: list[PathwayVersion]) -> Site:
    return make_site()


@pytest.fixture
def client(site: Site) -> Client:
    client = Client()
    backend = "django.contrib.auth.backends.ModelBackend"
    client.force_login(make_staff(role="surgeon", site=site), backend=backend)
    return client


@pytest.fixture
def eye(site: Site) -> Eye:
    eye = make_eye(site=site)
    make_operation(eye=eye, date=date(2024, 1, 31), tamponade_in="sf6")
    for day in (date(2024, 2, 1), date(2024, 2, 7)):
        make_exam(eye=eye, day=day)
    replan_eye(eye_id=eye.pk)
    return eye


def shorter() -> str:
    """As a browser sends it, with CR LF."""
    text = PathwayVersion.objects.get(key="after-gas", active=True).text
    return text.replace('late = "P14D"', 'late = "P7D"').replace("\n", "\r\n")


@time_machine.travel("2024-03-10T09:00:00Z", tick=False)
def test_the_effects_are_shown_before_anything_is_stored(client: Client, eye: Eye) -> None:
    answer = client.post(ADDRESS, {"text": shorter()}).content.decode()
    assert "the windows of 1 would change" in answer
    assert "1 would become overdue by it" in answer
    assert PathwayVersion.objects.filter(key="after-gas").count() == 1


@time_machine.travel("2024-03-10T09:00:00Z", tick=False)
@pytest.mark.parametrize(("move", "version"), [(True, 2), (False, 1)])
def test_an_accepted_edit_moves_only_the_ticked(client: Client, eye: Eye, move: bool, version: int) -> None:
    ticked = [Course.objects.get(eye=eye).pk] if move else []
    answer = client.post(ADDRESS, {"text": shorter(), "accept": "yes", "move": ticked})
    assert answer.headers["Location"] == reverse("pathways")
    assert Course.objects.get(eye=eye).pathway.version == version
    assert PathwayVersion.objects.get(key="after-gas", active=True).version == 2


def test_a_fault_stands_beside_the_text_and_the_text_is_kept(client: Client) -> None:
    answer = client.post(ADDRESS, {"text": shorter().replace("P12M", "12 months")}).content.decode()
    assert "milestone 6" in answer
    assert "12 months" in answer


def test_there_is_no_page_for_a_pathway_that_is_not_there(client: Client) -> None:
    assert client.get("/pathways/after-nothing/edit/").status_code == 404
