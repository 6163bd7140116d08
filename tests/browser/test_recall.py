"""Recall by keyboard alone: the telephone day, new symptoms in two steps, and pages without a barrier."""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from followup.models import ContactAttempt, Eye, PathwayVersion, Site, Staff, SymptomReport
from followup.services.pathway import replan_eye
from tests.builders import (
    make_attempt,
    make_exam,
    make_eye,
    make_oil_operation,
    make_operation,
    make_patient,
    make_report,
    make_site,
    make_staff,
)

pytestmark = pytest.mark.django_db(transaction=True)
WIDE, NARROW = {"width": 1280, "height": 900}, {"width": 390, "height": 844}
# Pages read the machine's own clock here, so the story is told from it.
TODAY = date.today()  # noqa: TID251, DTZ011  # the browser and the server share the machine's clock


@pytest.fixture
def site(pathways: list[PathwayVersion]) -> Site:
    return make_site(name="Harbour Eye Clinic", phone="555 0100")


@pytest.fixture
def eyes(site: Site) -> list[Eye]:
    """Three people overdue: one only eye with oil, tried once; two with gas."""
    found = []
    for number, name in enumerate(("Ashgrove", "Bellamy", "Corvell")):
        patient = make_patient(site=site, family_name=name, given_name="Maelis", phone=f"555 014{number}")
        eye = make_eye(patient=patient, side="left", only_eye=number == 0)
        make = make_operation if number else make_oil_operation
        make(eye=eye, date=TODAY - timedelta(days=150 - number))
        make_exam(eye=eye, day=TODAY - timedelta(days=140))
        replan_eye(eye_id=eye.pk)
        found.append(eye)
    make_attempt(patient=found[0].patient, day=TODAY - timedelta(days=3), number_used="555 0140")
    return found


@pytest.fixture
def robin(site: Site) -> Staff:
    return make_staff(role="surgeon", site=site, first_name="Robin", last_name="Sands")


@pytest.fixture
def anna(site: Site) -> Staff:
    return make_staff(site=site, first_name="Anna", last_name="Bell")


@pytest.mark.parametrize("window", [WIDE, NARROW], ids=["wide", "narrow"])
def test_no_page_of_recall_has_a_barrier_or_scrolls_sideways(
    live_page: Page,
    sign_in: Callable[[Staff], None],
    barriers: Callable[[Page], list[str]],
    eyes: list[Eye],
    robin: Staff,
    window: dict[str, int],
) -> None:
    """With FOLLOWUP_SCREENSHOTS set to a folder, a picture of each page is kept there."""
    told = make_report(patient=eyes[2].patient, recorded_by=robin, day=TODAY)
    waiting = eyes[1].patient
    waiting.died_on, waiting.death_to_confirm = TODAY, True
    waiting.death_reported_by, waiting.death_source = robin, "His son"
    waiting.save()
    sign_in(robin)
    live_page.set_viewport_size(window)  # type: ignore[arg-type]  # a plain dict is what it takes
    person = eyes[0].patient_id
    pages = {
        "home": "/",
        "recall": "/recall/",
        "questions": "/decisions/",
        "calls": "/calls/",
        "call": f"/calls/{person}/",
        "find": "/symptoms/?q=ash",
        "report": f"/patients/{person}/symptoms/",
        "answer": f"/symptoms/{told.pk}/answer/",
        "death": f"/patients/{waiting.pk}/death/confirm/",
        "person": f"/patients/{eyes[2].patient_id}/",
        "decide": f"/eyes/{eyes[0].pk}/decide/?kind=lost",
        "attempt": f"/patients/{person}/attempts/new/",
        "measures": "/recall/measures/",
        "quarters": "/audit/over-time/",
        "exports": "/exports/",
        "oil": "/oil/",
    }
    found = {}
    for name, address in pages.items():
        live_page.goto(address)
        if name == "call":
            live_page.keyboard.press("t")
            expect(live_page.get_by_text("What came of it")).to_be_visible()
        sideways = live_page.evaluate("document.documentElement.scrollWidth > window.innerWidth")
        found[name] = barriers(live_page) + (["scrolls sideways"] if sideways else [])
        keep_picture(live_page, f"{name}-{window['width']}")
    assert {name: faults for name, faults in found.items() if faults} == {}


def keep_picture(page: Page, name: str) -> None:
    folder = os.environ.get("FOLLOWUP_SCREENSHOTS")
    if folder:
        page.screenshot(path=Path(folder) / f"{name}.png", full_page=True)


def test_the_telephone_day_is_worked_through_by_keys_alone(
    live_page: Page, sign_in: Callable[[Staff], None], eyes: list[Eye], anna: Staff
) -> None:
    sign_in(anna)
    live_page.goto("/calls/")
    expect(live_page.get_by_text("3 left, 0 done today.")).to_be_visible()
    live_page.keyboard.press("n")
    expect(live_page.get_by_role("heading", name="Call Ashgrove, Maelis")).to_be_visible()
    live_page.keyboard.press("l")
    expect(live_page.get_by_role("heading", name=re.compile("Call (Bellamy|Corvell)"))).to_be_visible()
    live_page.keyboard.press("e")
    expect(live_page.get_by_label("Why they did not come")).to_have_value("feels_fine")
    live_page.keyboard.press("2")
    expect(live_page.get_by_role("status").filter(has_text="Reached, call again")).to_be_visible()
    expect(live_page.get_by_text("2 left, 1 done today.")).to_be_visible()
    live_page.keyboard.press("3")
    expect(live_page.get_by_role("heading", name="Call Ashgrove, Maelis")).to_be_visible()
    live_page.keyboard.press("9")
    expect(live_page.get_by_text("Nobody is left to be reached today.")).to_be_visible()
    results = ContactAttempt.objects.filter(day=TODAY).order_by("id").values_list("result", "reason")
    assert list(results) == [("call_back", "feels_fine"), ("no_answer", ""), ("not_possible", "")]


def test_typing_in_a_box_is_no_key_and_enter_keeps_nothing(
    live_page: Page, sign_in: Callable[[Staff], None], eyes: list[Eye], anna: Staff
) -> None:
    sign_in(anna)
    live_page.goto("/calls/")
    live_page.keyboard.press("n")
    note = live_page.get_by_label("Note")
    note.press_sequentially("3 children, 1 car")
    note.press("Enter")
    expect(live_page.get_by_text("Press the button, or the key, of what came of it.")).to_be_visible()
    expect(live_page.get_by_label("Note")).to_have_value("3 children, 1 car")
    assert ContactAttempt.objects.filter(day=TODAY).count() == 0


def test_new_symptoms_in_two_steps_from_any_page(
    live_page: Page, sign_in: Callable[[Staff], None], eyes: list[Eye], anna: Staff
) -> None:
    sign_in(anna)
    live_page.goto("/oil/")
    live_page.get_by_role("link", name="New symptoms").press("Enter")
    expect(live_page.get_by_label("1. Who is it?")).to_be_focused()
    live_page.keyboard.type("Ashgrove")
    live_page.keyboard.press("Enter")
    live_page.get_by_role("link", name="Ashgrove, Maelis").press("Enter")
    live_page.get_by_label("What they tell").fill("LEFT: curtain since noon")
    live_page.get_by_role("button", name="Put it before the clinician").press("Enter")
    expect(live_page.get_by_role("status")).to_contain_text("Tell a surgeon now")
    assert SymptomReport.objects.get().note == "LEFT: curtain since noon"
    live_page.goto("/")
    expect(live_page.get_by_role("region", name="New symptoms")).to_contain_text("LEFT: curtain since noon")
