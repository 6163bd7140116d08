"""Calendars in and out in the browser: an address made and revoked, a file of sessions taken in."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime

import pytest
from playwright.sync_api import Page, expect

from followup.models import CalendarAddress, PathwayVersion, Session, Site, Staff
from tests.builders import make_site, make_staff
from tests.interchange.feeds.calendars import calendar, event

pytestmark = pytest.mark.django_db(transaction=True)
TODAY = datetime.now(tz=UTC).date()


@pytest.fixture
def site(pathways: list[PathwayVersion]) -> Site:
    return make_site(name="Harbour Eye Clinic")


def test_an_address_is_made_copied_and_revoked(
    live_page: Page, sign_in: Callable[[Staff], None], barriers: Callable[[Page], list[str]], site: Site
) -> None:
    sign_in(make_staff(role="administrator", site=site))
    live_page.set_viewport_size({"width": 390, "height": 844})
    live_page.goto("/site/settings/")
    live_page.get_by_role("main").get_by_role("link", name="Calendar addresses").press("Enter")
    live_page.get_by_label("Who will use it").fill("Theatre desk")
    live_page.get_by_label("Kind of session").select_option("Theatre list")
    live_page.get_by_role("button", name="Make it").press("Enter")
    address = live_page.get_by_label("Address", exact=True)
    expect(address).to_have_value(re.compile(r"/calendar/[\w-]{43}\.ics$"))
    assert barriers(live_page) == []
    assert CalendarAddress.objects.get().session_kind == "theatre"
    answer = live_page.request.get(address.input_value())
    assert answer.text().startswith("BEGIN:VCALENDAR")
    path = address.input_value()
    live_page.get_by_role("button", name="Revoke the address of Theatre desk").press("Enter")
    expect(live_page.get_by_role("status")).to_contain_text("shows nothing from now on")
    assert live_page.request.get(path).status == 404


def test_a_file_of_sessions_is_looked_at_and_taken_in(
    live_page: Page, sign_in: Callable[[Staff], None], barriers: Callable[[Page], list[str]], site: Site
) -> None:
    sign_in(make_staff(role="coordinator", site=site))
    live_page.goto("/sessions/")
    live_page.get_by_role("link", name="Take in a calendar").press("Enter")
    live_page.get_by_label("Name of the calendar").fill("clinics")
    weekly = event("SUMMARY:Retina clinic", "DURATION:PT3H", "RRULE:FREQ=WEEKLY;COUNT=3")
    weekly = [line.replace("20250610T060000Z", f"{TODAY:%Y%m%d}T060000Z") for line in weekly]
    file = {"name": "clinics.ics", "mimeType": "text/calendar", "buffer": calendar(*weekly)}
    live_page.get_by_label("File", exact=False).set_input_files(file)
    live_page.get_by_label("An entry is").select_option("Clinic")
    live_page.get_by_label("With how many places").fill("10")
    live_page.get_by_role("button", name="Read the file").press("Enter")
    expect(live_page.get_by_role("heading", name="What clinics.ics would do")).to_be_visible()
    expect(live_page.get_by_text("3 new")).to_be_visible()
    assert barriers(live_page) == []
    assert not Session.objects.exists()
    live_page.get_by_role("button", name="Write these sessions").press("Enter")
    expect(live_page.get_by_role("status")).to_contain_text("clinics: 3 new.")
    live_page.goto("/sessions/")
    expect(live_page.get_by_role("row", name=re.compile("Retina clinic"))).to_have_count(3)
