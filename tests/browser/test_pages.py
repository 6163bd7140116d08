"""The pages as somebody with a keyboard, a narrow window or a screen reader meets them."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import Page, expect

from followup.models import Eye, PathwayVersion, SessionCalendar, Site, Staff
from followup.services.pathway import replan_eye
from tests.builders import (
    make_acuity,
    make_appointment,
    make_attempt,
    make_exam,
    make_eye,
    make_oil_operation,
    make_patient,
    make_session,
    make_session_calendar,
    make_site,
    make_staff,
)
from tests.interchange.feeds.calendars import calendar, event

pytestmark = pytest.mark.django_db(transaction=True)
WIDE, NARROW = {"width": 1280, "height": 900}, {"width": 390, "height": 844}
TODAY = datetime.now(tz=UTC).date()
"""The pages read the machine's own clock here, at a clinic that keeps UTC."""


@pytest.fixture
def site(pathways: list[PathwayVersion]) -> Site:
    return make_site(name="Harbour Eye Clinic", phone="555 0100")


@pytest.fixture
def eye(site: Site) -> Eye:
    """LEFT, oil in for 120 days, seen once, called once, booked nowhere."""
    patient = make_patient(site=site, family_name="Ashgrove", given_name="Maelis", phone="555 0142")
    eye = make_eye(patient=patient, side="left", only_eye=True)
    make_oil_operation(eye=eye, date=TODAY - timedelta(days=120))
    exam = make_exam(eye=eye, day=TODAY - timedelta(days=90), pressure_mmhg=21)
    make_acuity(exam=exam)
    make_attempt(patient=patient, day=TODAY - timedelta(days=2))
    make_appointment(patient=patient, day=TODAY - timedelta(days=3))
    make_session(site=site, day=TODAY + timedelta(days=7), title="Retina clinic")
    make_session(site=site, day=TODAY + timedelta(days=8), title="Theatre", kind="theatre")
    weekly = event(
        "SUMMARY:Retina", "DURATION:PT3H", "RRULE:FREQ=DAILY", start=f"DTSTART:{TODAY:%Y%m%d}T090000Z"
    )
    declined = {"reply": "declined", "reply_sequence": 0, "replied_at": datetime.now(tz=UTC)}
    make_appointment(patient=make_patient(site=site), day=TODAY + timedelta(days=3), **declined)
    make_session_calendar(site=site, content=calendar(*weekly))
    replan_eye(eye_id=eye.pk)
    return eye


@pytest.fixture
def robin(site: Site) -> Staff:
    return make_staff(role="surgeon", site=site, first_name="Robin", last_name="Sands")


def pages_of(eye: Eye) -> list[str]:
    person, place = eye.patient_id, eye.patient.appointments.get()
    return [
        "/",
        "/recall/",
        "/oil/",
        "/decisions/",
        "/sessions/",
        "/sessions/new/",
        f"/sessions/{place.session_id}/",
        "/sessions/calendars/",
        f"/sessions/calendars/{SessionCalendar.objects.get().pk}/",
        "/answers/",
        "/appointments/without-outcome/",
        "/search/?q=ash",
        "/pathways/",
        "/patients/new/",
        f"/patients/{person}/",
        f"/patients/{person}/history/",
        f"/patients/{person}/attempts/new/",
        f"/patients/{person}/operations/new/",
        f"/patients/{person}/visits/new/",
        f"/patients/{person}/death/",
        f"/eyes/{eye.pk}/",
        f"/eyes/{eye.pk}/change/",
        f"/eyes/{eye.pk}/book/",
        f"/eyes/{eye.pk}/decide/",
        f"/appointments/{place.pk}/cancel/",
    ]


@pytest.mark.parametrize("window", [WIDE, NARROW], ids=["wide", "narrow"])
def test_no_page_has_a_barrier_or_scrolls_sideways(
    live_page: Page,
    sign_in: Callable[[Staff], None],
    barriers: Callable[[Page], list[str]],
    eye: Eye,
    robin: Staff,
    window: dict[str, int],
) -> None:
    sign_in(robin)
    live_page.set_viewport_size(window)  # type: ignore[arg-type]  # a plain dict is what it takes
    found = {}
    for address in pages_of(eye):
        live_page.goto(address)
        sideways = live_page.evaluate("document.documentElement.scrollWidth > window.innerWidth")
        found[address] = barriers(live_page) + (["scrolls sideways"] if sideways else [])
    assert {address: faults for address, faults in found.items() if faults} == {}


def test_the_recall_list_stays_a_table_with_its_headings_on_a_narrow_screen(
    live_page: Page, sign_in: Callable[[Staff], None], eye: Eye, robin: Staff
) -> None:
    sign_in(robin)
    live_page.set_viewport_size(NARROW)  # type: ignore[arg-type]  # a plain dict is what it takes
    live_page.goto("/recall/")
    expect(live_page.get_by_role("row")).to_have_count(2)
    headings = live_page.get_by_role("columnheader").all_inner_texts()
    assert headings == [
        "Patient and eye",
        "Standing",
        "What is next",
        "Why first",
        "How to reach them",
        "Surgeon",
        "Actions",
    ]
    expect(live_page.get_by_role("rowheader")).to_contain_text("Ashgrove, Maelis, LEFT")
    region = live_page.get_by_role("region", name="Recall list, scrolls sideways")
    assert region.evaluate("box => box.scrollWidth <= box.clientWidth")
    expect(live_page.get_by_role("link", name="Book Ashgrove, Maelis LEFT")).to_be_visible()


def test_a_wide_table_is_scrolled_by_keyboard(
    live_page: Page, sign_in: Callable[[Staff], None], eye: Eye, robin: Staff
) -> None:
    sign_in(robin)
    live_page.set_viewport_size(NARROW)  # type: ignore[arg-type]  # a plain dict is what it takes
    live_page.goto(f"/eyes/{eye.pk}/")
    scroller = live_page.get_by_role("region", name="Operations, scrolls sideways")
    scroller.focus()
    live_page.keyboard.press("ArrowRight")
    # Waited for by evaluating, since polling needs what the page's security policy forbids.
    scrolled = scroller.evaluate(
        "async box => { for (let n = 0; n < 300 && !box.scrollLeft; n++)"
        " await new Promise(requestAnimationFrame); return box.scrollLeft; }"
    )
    assert scrolled > 0


def test_a_place_is_booked_without_a_mouse_from_the_recall_list(
    live_page: Page, sign_in: Callable[[Staff], None], eye: Eye, robin: Staff
) -> None:
    sign_in(robin)
    live_page.goto("/recall/")
    live_page.get_by_role("link", name="Book Ashgrove, Maelis LEFT").press("Enter")
    live_page.get_by_role("radio").first.press("Space")
    live_page.get_by_role("button", name="Book this place").press("Enter")
    expect(live_page.get_by_role("status")).to_contain_text("Booked: Ashgrove, Maelis")


def test_the_slash_key_goes_to_the_search_box_and_typing_a_slash_elsewhere_does_not(
    live_page: Page, sign_in: Callable[[Staff], None], eye: Eye, robin: Staff
) -> None:
    sign_in(robin)
    live_page.goto(f"/patients/{eye.patient_id}/visits/new/")
    live_page.keyboard.press("/")
    expect(live_page.get_by_role("searchbox", name="Find a patient")).to_be_focused()
    acuity = live_page.get_by_label("Acuity, pinhole").first
    acuity.press_sequentially("6/12")
    expect(acuity).to_have_value("6/12")


def test_the_skip_link_leads_past_the_navigation(
    live_page: Page, sign_in: Callable[[Staff], None], eye: Eye, robin: Staff
) -> None:
    sign_in(robin)
    live_page.goto("/oil/")
    live_page.keyboard.press("Tab")
    expect(live_page.get_by_role("link", name="Skip to the content")).to_be_focused()
    live_page.keyboard.press("Enter")
    expect(live_page.locator("#content")).to_be_focused()


def test_a_refused_acuity_is_told_beside_its_box(
    live_page: Page,
    sign_in: Callable[[Staff], None],
    barriers: Callable[[Page], list[str]],
    eye: Eye,
    robin: Staff,
) -> None:
    sign_in(robin)
    live_page.goto(f"/patients/{eye.patient_id}/visits/new/")
    box = live_page.get_by_role("group", name="LEFT eye").get_by_label("Acuity, unaided")
    box.fill("06/09/2024")
    box.press("Enter")
    expect(box).to_have_value("06/09/2024")
    expect(box).to_have_accessible_description(re.compile('LEFT eye, acuity "06/09/2024"'))
    assert barriers(live_page) == []


def test_the_figure_is_shown_and_printed_pages_drop_the_frame(
    live_page: Page, sign_in: Callable[[Staff], None], eye: Eye, robin: Staff
) -> None:
    sign_in(robin)
    live_page.goto(f"/eyes/{eye.pk}/")
    figure = live_page.get_by_role("img", name="Acuity and pressure over time")
    expect(figure).to_be_visible()
    assert figure.evaluate("image => image.complete && image.naturalWidth > 0")
    live_page.emulate_media(media="print")
    expect(live_page.get_by_role("navigation", name="Main")).to_be_hidden()
    expect(live_page.get_by_text("This tool schedules and counts.")).to_be_visible()
    expect(live_page.get_by_text("LEFT").first).to_be_visible()
