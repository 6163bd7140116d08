"""The day sheet as it is kept at the desk: by keyboard alone, on paper, on a narrow screen."""

from __future__ import annotations

from collections.abc import Callable
from datetime import time

import pytest
from playwright.sync_api import Page, expect

from followup.models import Appointment, Session, Site, Staff
from followup.web.kit import clock
from tests.builders import make_appointment, make_session, make_site, make_staff
from tests.services.conftest import shipped_pathways

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def site() -> Site:
    shipped_pathways()
    return make_site(name="Harbour Eye Clinic")


@pytest.fixture
def session(site: Site) -> Session:
    """Three people this morning."""
    session = make_session(site=site, day=clock.today(site), title="Retina clinic")
    for hour in (9, 10, 11):
        make_appointment(session=session, site=site, local_time=time(hour))
    return session


@pytest.fixture(params=[1280, 390], ids=["wide", "narrow"])
def sheet(
    request: pytest.FixtureRequest,
    live_page: Page,
    site: Site,
    session: Session,
    sign_in: Callable[[Staff], None],
) -> Page:
    sign_in(make_staff(site=site))
    live_page.set_viewport_size({"width": request.param, "height": 900})
    live_page.goto(f"/sessions/{session.pk}/")
    return live_page


def states(session: Session) -> list[str]:
    places = Appointment.objects.filter(session=session).order_by("local_time")
    return list(places.values_list("state", flat=True))


def test_a_whole_list_is_marked_with_the_keyboard_alone(
    sheet: Page, session: Session, barriers: Callable[[Page], list[str]]
) -> None:
    assert barriers(sheet) == []
    assert sheet.evaluate("document.documentElement.scrollWidth <= innerWidth")
    people = sheet.locator("[data-line]")
    people.first.focus()
    for number, (key, said) in enumerate([("t", "attended"), ("n", "did not attend"), ("a", "has arrived")]):
        sheet.keyboard.press(key)
        expect(sheet.get_by_role("status")).to_contain_text(said)
        expect(people.nth(number)).to_be_focused()
        sheet.keyboard.press("ArrowDown")
    assert states(session) == ["fulfilled", "noshow", "arrived"]
    assert barriers(sheet) == []


def test_a_letter_outside_the_list_marks_nobody(sheet: Page, session: Session) -> None:
    sheet.locator("h1").click()
    sheet.keyboard.press("a")
    expect(sheet.get_by_text("3 people without an outcome.")).to_be_visible()
    assert states(session) == ["booked"] * 3


def test_on_paper_each_line_has_boxes_to_tick_and_no_buttons(sheet: Page) -> None:
    sheet.emulate_media(media="print")
    expect(sheet.get_by_text("☐ attended").first).to_be_visible()
    expect(sheet.get_by_role("button", name="Arrived").first).to_be_hidden()
