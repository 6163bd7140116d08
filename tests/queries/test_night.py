"""What the pages tell about the night's work."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from followup.queries.night import NightWork, night_work, previous_digest_day
from tests.builders import NOW, TODAY, YESTERDAY, days, make_message, make_night_run, make_site

pytestmark = pytest.mark.django_db


def test_a_site_whose_night_never_ran_says_so() -> None:
    make_night_run(finished_at=NOW)
    assert night_work(site=make_site()) == NightWork(None, None, (), (), 0)


def test_the_last_tick_the_last_digest_and_what_went_wrong_are_told() -> None:
    site = make_site()
    make_night_run(site=site, job="tick", finished_at=NOW)
    make_night_run(site=site, job="tick", day=YESTERDAY, finished_at=NOW - timedelta(days=1))
    make_night_run(site=site, day=YESTERDAY, finished_at=NOW - timedelta(days=1))
    make_night_run(site=site, problem="No zone.")
    make_message(site=site)
    failed = make_message(site=site, state="failed")
    withheld = make_message(site=site, state="withheld", due_at=NOW - timedelta(days=1))
    make_message(site=site, state="sent")
    assert night_work(site=site) == NightWork(
        last_tick=NOW,
        last_digest=YESTERDAY,
        problems=("2 Mar 2026: No zone.",),
        undelivered=(failed, withheld),
        waiting=1,
    )


@pytest.mark.parametrize(
    ("written", "expected"),
    [([], YESTERDAY), ([days(-3), days(-5)], days(-3)), ([TODAY], YESTERDAY)],
    ids=["never", "three days ago", "today alone"],
)
def test_the_digest_before_is_the_last_one_written(written: list[date], expected: date) -> None:
    site = make_site()
    for day in written:
        make_night_run(site=site, day=day, finished_at=NOW)
    assert previous_digest_day(site=site, day=TODAY) == expected
