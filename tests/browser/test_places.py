"""The rota, a list that falls away, the proposal and the load ahead, on a wide and a narrow screen."""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from followup.models import Site, Staff
from followup.services.pathway import replan_eye
from followup.services.rota import open_sessions
from followup.web.kit import clock
from tests.builders import (
    make_appointment,
    make_closure,
    make_exception,
    make_oil_operation,
    make_pattern,
    make_site,
    make_staff,
    make_unavailable,
)
from tests.services.conftest import shipped_pathways

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def site() -> Site:
    """Four eyes with oil, a rota of clinics and theatre lists, and one list with somebody in it."""
    shipped_pathways()
    site = make_site(name="Harbour Eye Clinic", country="EG")
    today = clock.today(site)
    patterns = [
        make_pattern(site=site, kind=kind, title=title, weekday=today.weekday(), first_day=today)
        for kind, title in (("clinic", "Retina clinic"), ("theatre", "Retina theatre"))
    ]
    make_exception(pattern=patterns[0], day=today + timedelta(days=7))
    make_closure(site=site, first_day=today + timedelta(days=14))
    open_sessions(by=None, now=clock.now(), site=site)
    for days in (20, 70, 120, 150):
        eye = make_oil_operation(site=site, date=today - timedelta(days=days)).eye
        replan_eye(eye_id=eye.pk)
    make_unavailable(patient=eye.patient, first_day=today)
    clinic = patterns[0].sessions.order_by("day")[2]
    make_appointment(patient=eye.patient, session=clinic)
    return site


@pytest.fixture(params=[1280, 390], ids=["wide", "narrow"])
def desk(
    request: pytest.FixtureRequest, live_page: Page, site: Site, sign_in: Callable[[Staff], None]
) -> Page:
    sign_in(make_staff(site=site))
    live_page.set_viewport_size({"width": request.param, "height": 900})
    return live_page


def test_every_page_of_places_is_free_of_barriers_and_fits_the_screen(
    desk: Page, site: Site, barriers: Callable[[Page], list[str]]
) -> None:
    pattern = site.session_patterns.order_by("id")[0]
    place = pattern.sessions.get(appointments__isnull=False).appointments.get()
    eye = place.patient.eyes.get()
    found = {}
    for address in (
        "/sessions/rota/",
        "/sessions/rota/new/",
        f"/sessions/rota/{pattern.pk}/end/",
        f"/sessions/rota/{pattern.pk}/day/",
        "/sessions/closures/new/",
        f"/sessions/{place.session_id}/",
        f"/sessions/{place.session_id}/cancel/",
        f"/patients/{place.patient_id}/unavailable/",
        f"/eyes/{eye.pk}/book/",
        "/proposal/",
        "/load/",
    ):
        desk.goto(address)
        _keep_picture(desk, address)
        fits = desk.evaluate("document.documentElement.scrollWidth <= innerWidth")
        found[address] = (barriers(desk), fits)
    assert found == dict.fromkeys(found, ([], True))


def _keep_picture(page: Page, address: str) -> None:
    """A picture in the folder that FOLLOWUP_PICTURES names; none without."""
    folder = os.environ.get("FOLLOWUP_PICTURES")
    if folder and page.viewport_size:
        name = f"{address.strip('/').replace('/', '-')}-{page.viewport_size['width']}.png"
        page.screenshot(path=Path(folder) / name, full_page=True)


def test_the_proposal_is_accepted_with_the_keyboard(desk: Page) -> None:
    desk.goto("/proposal/")
    desk.get_by_role("combobox").first.focus()
    desk.keyboard.press("Home")
    desk.get_by_role("button", name="Book these places").focus()
    desk.keyboard.press("Enter")
    expect(desk.get_by_role("status")).to_contain_text("booked.")
