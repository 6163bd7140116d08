"""The audit as a registrar prepares a talk with it."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from followup.models import Site, Staff
from tests.builders import make_eye, make_oil_operation, make_site, make_staff
from tests.queries.audited import OPERATED, make_followed_eyes, people

pytestmark = pytest.mark.django_db(transaction=True)

DRAWN = "image => image.decode().then(() => image.naturalWidth)"
"""Waits for the drawing; a broken one is an error."""


@pytest.fixture
def site() -> Site:
    site = make_site(name="Harbour Eye Clinic")
    make_followed_eyes(site, people((60 * n, n % 4 == 1) for n in range(1, 25)))
    make_oil_operation(eye=make_eye(site=site), date=OPERATED)
    return site


@pytest.fixture(params=[1280, 390], ids=["wide", "narrow"])
def audit_page(
    request: pytest.FixtureRequest, live_page: Page, site: Site, sign_in: Callable[[Staff], None]
) -> Page:
    sign_in(make_staff(role="auditor", site=site))
    live_page.set_viewport_size({"width": request.param, "height": 900})
    live_page.goto("/audit/")
    return live_page


def test_a_cohort_is_asked_for_drawn_and_kept_as_an_address(
    audit_page: Page, barriers: Callable[[Page], list[str]]
) -> None:
    audit_page.get_by_label("Horizon, months").fill("36")
    audit_page.get_by_label("Clock starts at").select_option(label="Tamponade removed or gone")
    audit_page.get_by_role("button", name="Count").click()
    curve = audit_page.get_by_role("img")
    assert str(curve.get_attribute("alt")).startswith("Kaplan-Meier curve of 24 eyes of 24 patients.")
    assert curve.evaluate(DRAWN) > 0
    expect(audit_page.get_by_text("For comparison, from the index operation")).to_be_visible()
    assert barriers(audit_page) == []
    assert audit_page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    before = audit_page.get_by_role("table").all_inner_texts()
    audit_page.get_by_role("link", name="Link to this audit").click()
    assert "horizon=36" in audit_page.url
    assert audit_page.get_by_role("table").all_inner_texts() == before


def test_the_curve_can_be_read_as_a_table_with_the_keyboard(audit_page: Page) -> None:
    audit_page.get_by_text("The same curve in numbers").focus()
    audit_page.keyboard.press("Enter")
    table = audit_page.get_by_role("table", name="Each day on which the curve falls, as far as it is drawn")
    expect(table.get_by_role("row").nth(1)).to_contain_text("60")


def test_what_was_refused_stands_beside_its_field(
    audit_page: Page, barriers: Callable[[Page], list[str]]
) -> None:
    audit_page.goto("/audit/?horizon=999&surgeon=nobody")
    expect(audit_page.get_by_role("alert")).to_contain_text("Nothing was counted.")
    expect(audit_page.get_by_text("Expected whole months, 1 to 360.")).to_be_visible()
    expect(audit_page.get_by_text("“nobody” is not one of the choices.")).to_be_visible()
    assert barriers(audit_page) == []


def test_the_rows_come_as_a_file(audit_page: Page) -> None:
    with audit_page.expect_download() as download:
        audit_page.get_by_role("link", name="CSV").click()
    assert download.value.suggested_filename.startswith("audit-")
    text = download.value.path().read_text(encoding="utf-8")
    assert len(text.splitlines()) == 26


def numbers(page: Page, table: str) -> dict[str, list[str]]:
    """The cells of a table by the heading of their row."""
    rows = page.get_by_role("table", name=table).get_by_role("row").all()[1:]
    return {
        row.get_by_role("rowheader").inner_text(): [
            cell.replace("\N{NO-BREAK SPACE}", " ") for cell in row.get_by_role("cell").all_inner_texts()
        ]
        for row in rows
    }


def test_the_numbers_on_the_page_are_those_of_the_eyes(audit_page: Page) -> None:
    # 24 eyes seen on days 60, 120, ... 1440, those of days 60, 300, 540, ... detached: 6 in all; one more
    # eye filled with oil and never seen again.
    flow = numbers(audit_page, "From all eyes to the curve")
    assert flow["In the cohort"] == ["25", "25"]
    assert flow["Of these, with the event by the lock date"] == ["6", "6"]
    assert numbers(audit_page, "Final state: whatever operations it took") == {
        "Attached without oil": ["18 of 24", "75.0 %", "53.3 to 90.2 %", "18"],
        "Attached under oil: provisional": ["0 of 24", "0.0 %", "0.0 to 14.2 %", "0"],
        "Detached": ["6 of 24", "25.0 %", "9.8 to 46.7 %", "6"],
    }
    assert numbers(audit_page, "Oil: filled and taken out") == {
        "Filled with oil": ["1", "", "", "1"],
        "Oil taken out by the lock date": ["0", "", "", "0"],
        "Kept beyond the removal window by a decision": ["0", "", "", "0"],
        "Taken out by the end of the removal window": ["0 of 1", "0.0 %", "0.0 to 97.5 %", "0"],
    }


def test_a_figure_opens_its_eyes_and_leads_back(
    audit_page: Page, barriers: Callable[[Page], list[str]]
) -> None:
    detached = audit_page.get_by_role("row", name="Detached").get_by_role("link", name="6 of 24")
    detached.first.click()
    expect(audit_page.get_by_role("heading", level=1)).to_have_text("Detached")
    assert audit_page.get_by_role("row").count() == 7
    assert barriers(audit_page) == []
    audit_page.get_by_role("link", name="this audit of Harbour Eye Clinic").click()
    expect(audit_page.get_by_role("heading", level=1)).to_have_text("Audit of Harbour Eye Clinic")


def test_groups_are_asked_for_and_shown(audit_page: Page, barriers: Callable[[Page], list[str]]) -> None:
    audit_page.get_by_label("Tell eyes apart by").select_option(label="Tamponade")
    audit_page.get_by_role("button", name="Count").click()
    groups = numbers(audit_page, "By tamponade")
    assert groups["A. None (balanced salt)"][:3] == ["24", "24", "6"]
    assert groups["B. Silicone oil 1000 cSt"][:3] == ["1", "1", "0"]
    assert audit_page.get_by_role("img").evaluate(DRAWN) > 0
    assert barriers(audit_page) == []
    assert audit_page.evaluate("document.documentElement.scrollWidth <= innerWidth")
