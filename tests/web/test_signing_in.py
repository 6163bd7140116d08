"""Signing in leads back to our own pages only, and too many wrong passwords close the door for a while."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.conf import LazySettings
from django.test import Client

from followup.models import Site, Staff
from tests.builders import make_site, make_staff

pytestmark = pytest.mark.django_db
PASSWORD = "harbour-lamp-eleven"


@pytest.fixture
def morgan(harbour: Site, settings: LazySettings) -> Staff:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.PBKDF2PasswordHasher"]
    return make_staff(username="morgan", password=PASSWORD, site=harbour)


FOREIGN = [
    "//example.net",
    r"/\example.net",
    "/\t/example.net",
    "http:///example.net",
    "https://example.net/eyes/12/",
    "javascript:alert(1)",
]


@pytest.mark.parametrize("next_page", FOREIGN)
def test_a_foreign_address_is_not_followed_after_signing_in(morgan: Staff, next_page: str) -> None:
    typed = {"username": "morgan", "password": PASSWORD, "next": next_page}
    assert Client().post("/sign-in/", typed).headers["Location"] == "/"


def test_an_address_of_ours_is_followed_after_signing_in(morgan: Staff) -> None:
    typed = {"username": "morgan", "password": PASSWORD, "next": "/eyes/12/"}
    assert Client().post("/sign-in/", typed).headers["Location"] == "/eyes/12/"


def test_too_many_wrong_passwords_close_the_door_with_a_page_that_says_so(morgan: Staff) -> None:
    client = Client()
    for _ in range(5):
        answer = client.post("/sign-in/", {"username": "morgan", "password": "wrong"})
    assert answer.status_code == 429
    assert "Too many tries" in answer.content.decode()
    right = client.post("/sign-in/", {"username": "morgan", "password": PASSWORD})
    assert right.status_code == 429


@pytest.mark.parametrize(("wanted", "followed"), [(page, "/") for page in FOREIGN] + [("/oil/", "/oil/")])
def test_choosing_a_clinic_leads_back_to_our_own_pages_only(
    harbour: Site, enter: Callable[[Staff], Client], wanted: str, followed: str
) -> None:
    client = enter(make_staff(site=harbour))
    answer = client.post("/site/", {"site": harbour.pk, "next": wanted})
    assert answer.headers["Location"] == followed


def test_a_person_of_two_clinics_works_at_the_one_they_chose(
    harbour: Site, enter: Callable[[Staff], Client]
) -> None:
    quay, elsewhere = make_site(name="Quay Clinic"), make_site(name="Elsewhere")
    client = enter(make_staff(sites=[harbour, quay]))
    assert "<h1>Harbour Eye Clinic" in client.get("/").content.decode()
    client.post("/site/", {"site": quay.pk})
    assert "<h1>Quay Clinic" in client.get("/").content.decode()
    client.post("/site/", {"site": elsewhere.pk})
    assert "<h1>Quay Clinic" in client.get("/").content.decode()


def test_signing_out_is_a_button_and_not_a_link(harbour: Site, enter: Callable[[Staff], Client]) -> None:
    client = enter(make_staff(site=harbour))
    assert client.get("/sign-out/").status_code == 405
    assert client.get("/").status_code == 200
    assert "no-store" in client.get("/").headers["Cache-Control"]
    client.post("/sign-out/")
    assert client.get("/").headers["Location"] == "/sign-in/?next=/"
