"""Signing in, as a person does it."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from followup.models import PathwayVersion, Staff
from tests.builders import make_site, make_staff

pytestmark = pytest.mark.django_db(transaction=True)

PASSWORD = "harbour-lamp-eleven"


@pytest.fixture
def coordinator(pathways: list[PathwayVersion]) -> Staff:
    return make_staff(username="morgan", password=PASSWORD, site=make_site(name="Harbour Eye Clinic"))


def test_the_right_password_opens_the_day_and_a_wrong_one_says_so(
    live_page: Page, coordinator: Staff, barriers: Callable[[Page], list[str]]
) -> None:
    live_page.goto("/recall/")
    assert barriers(live_page) == []
    live_page.get_by_label("Username").fill("morgan")
    live_page.get_by_label("Password").fill("wrong")
    live_page.keyboard.press("Enter")
    expect(live_page.get_by_text("correct username and password")).to_be_visible()
    assert barriers(live_page) == []
    live_page.get_by_label("Username").fill("morgan")
    live_page.get_by_label("Password").fill(PASSWORD)
    live_page.keyboard.press("Enter")
    expect(live_page).to_have_url("/recall/")
    assert barriers(live_page) == []


def test_a_page_opens_for_somebody_signed_in(
    live_page: Page, coordinator: Staff, sign_in: Callable[[Staff], None]
) -> None:
    sign_in(coordinator)
    live_page.goto("/")
    expect(live_page.get_by_text("Harbour Eye Clinic").first).to_be_visible()
