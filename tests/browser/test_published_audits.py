"""Published eyes go in through the page and come out of it as R and their publishers count them.

Sources: fixtures/sheets/README.md for the files, fixtures/survival/README.md for the reference results.
"""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Callable, Iterator
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path
from typing import Any

import pytest
import time_machine
from django.conf import settings
from playwright.sync_api import Page, expect

from followup.models import PathwayVersion, Site, Staff
from tests.browser.test_audit import numbers
from tests.builders import make_site, make_staff
from tests.domain.survival.tables import expected, read_csv

pytestmark = pytest.mark.django_db(transaction=True)

SHEETS = Path(settings.BASE_DIR) / "fixtures" / "sheets"
LASER, HOLES = "diabetic_retinopathy_laser_trial", "macular_hole_surgery_benchmark"
WEEKS_OF_DAY = {14: 2, 90: 13, 181: 26, 365: 52}
"""The visits of the macular holes, two weeks and 3, 6 and 12 calendar months after 1 January 2015."""


@pytest.fixture
def site(pathways: list[PathwayVersion]) -> Iterator[Site]:
    with time_machine.travel("2026-03-02T09:00:00Z", tick=True):
        yield make_site(name="Harbour Eye Clinic")


@pytest.fixture
def surgeon_page(live_page: Page, site: Site, sign_in: Callable[[Staff], None]) -> Page:
    sign_in(make_staff(role="surgeon", site=site))
    live_page.set_default_timeout(60_000)
    return live_page


def take_in(page: Page, name: str) -> None:
    """Chosen with its map, looked at, and written."""
    page.goto("/imports/")
    page.get_by_label("File", exact=False).first.set_input_files(SHEETS / f"{name}.csv")
    page.get_by_label("Column map").set_input_files(SHEETS / f"{name}.json")
    page.get_by_role("button", name="Read the file").click()
    page.get_by_role("button", name="Write ").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("what was written")


def as_printed(share: float) -> str:
    return f"{Decimal(100 * share).quantize(Decimal('0.1'), ROUND_HALF_UP)} %"


def limits(lower: float, upper: float) -> str:
    return f"{as_printed(lower).removesuffix(' %')} to {as_printed(upper)}"


def rates(page: Page) -> dict[str, list[str]]:
    name = page.locator("caption").filter(has_text="Free of the event:").inner_text()
    return numbers(page, name)


def sheet(page: Page) -> list[dict[str, str]]:
    with page.expect_download() as download:
        page.get_by_role("link", name="CSV", exact=False).first.click()
    return list(csv.DictReader(download.value.path().read_text(encoding="utf-8-sig").splitlines()))


def test_the_laser_trial_gives_what_r_gives(surgeon_page: Page) -> None:
    """Huster WJ, Brookmeyer R, Self SG. Biometrics 1989;45:145-156: 197 people, both eyes, 155 losses."""
    take_in(surgeon_page, LASER)
    surgeon_page.goto("/audit/?lock=1985-01-01&limits=eyes&horizon=60")
    wanted = {value["time"]: value for value in expected("km_retinopathy_naive")["overall"][0]["at"]}
    found = rates(surgeon_page)
    compared = 0
    for label, cells in found.items():
        if (value := wanted.get(int(label.split()[0]))) is not None:
            band = value["ci"]["log-log"]
            told = [str(value["n_risk"]), as_printed(value["surv"]), limits(band["lower"], band["upper"])]
            assert cells[-3:] == told, label
            compared += 1
    assert compared >= 3
    rows = sheet(surgeon_page)
    assert len(rows) == 394
    assert sum(row["event"] == "1" for row in rows) == 155


def test_the_macular_holes_gain_three_lines_when_r_says_so(surgeon_page: Page) -> None:
    """Lachance A et al. Transl Vis Sci Technol 2022;11(4):6: first gain of 15 letters, 104 eyes."""
    take_in(surgeon_page, HOLES)
    surgeon_page.goto("/audit/?lock=2020-01-01&limits=eyes&horizon=12&event=gain")
    wanted = {int(row["time"]): row for row in read_csv("eyes/macular_hole_15_letter_gain_loglog")}
    surgeon_page.get_by_text("The same curve in numbers").click()
    falls = numbers(surgeon_page, "Each day on which the curve falls, as far as it is drawn")
    assert {WEEKS_OF_DAY[int(day)] for day in falls} == set(wanted)
    for day, cells in falls.items():
        row = wanted[WEEKS_OF_DAY[int(day)]]
        band = limits(float(row["lower95"]), float(row["upper95"]))
        assert cells[1:3] == [row["n_risk"], row["n_event"]], day
        assert cells[4:] == [as_printed(float(row["survival"])), band], day
    ended: Any = Counter((WEEKS_OF_DAY[int(row["days"])], row["event"]) for row in sheet(surgeon_page))
    given = Counter(
        (int(row["time"]), row["status"]) for row in read_csv("eyes/macular_hole_15_letter_gain_input")
    )
    assert ended == given
