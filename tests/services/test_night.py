"""The night's run of a site and day is done by one worker, once."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from followup.models import NightRun, OutboxMessage, Site
from followup.services import night
from tests.at_once import at_once
from tests.builders import NOW, TODAY, YESTERDAY, make_site

pytestmark = pytest.mark.django_db


def claim(site: Site, *, now: datetime = NOW) -> NightRun | None:
    return night.claim_night(site=site, job=night.DIGEST, day=TODAY, now=now)


def finish(run: NightRun, *addresses: str) -> list[OutboxMessage]:
    return night.finish_digest(run=run, now=NOW, addresses=addresses, subject="S", body="B")


def minutes(count: int) -> datetime:
    return NOW + timedelta(minutes=count)


def test_a_day_is_claimed_once_and_stays_done() -> None:
    site = make_site()
    run = claim(site)
    assert run is not None
    assert claim(site) is None
    finish(run, "a@clinic.example")
    assert claim(site, now=minutes(600)) is None


def test_another_day_another_site_and_another_job_are_their_own() -> None:
    site = make_site()
    assert claim(site) is not None
    assert night.claim_night(site=site, job=night.DIGEST, day=YESTERDAY, now=NOW) is not None
    assert night.claim_night(site=site, job="other", day=TODAY, now=NOW) is not None
    assert claim(make_site()) is not None


def test_the_run_of_a_killed_worker_is_taken_up_when_its_lease_has_run_out() -> None:
    site = make_site()
    killed = claim(site)
    assert claim(site, now=minutes(19)) is None
    taken_up = claim(site, now=minutes(20))
    assert killed is not None
    assert taken_up is not None
    assert finish(killed, "a@clinic.example") == []
    assert [message.to for message in finish(taken_up, "a@clinic.example")] == ["a@clinic.example"]


def test_work_that_broke_waits_a_quarter_of_an_hour_and_says_why() -> None:
    site = make_site()
    run = claim(site)
    assert run is not None
    night.put_off_night(run=run, now=NOW, problem="No zone.")
    assert NightRun.objects.get().problem == "No zone."
    assert claim(site, now=minutes(14)) is None
    assert claim(site, now=minutes(15)) is not None


def test_each_address_gets_a_message_of_its_own() -> None:
    run = claim(make_site())
    assert run is not None
    assert [message.to for message in finish(run, "a@clinic.example", "b@clinic.example")] == [
        "a@clinic.example",
        "b@clinic.example",
    ]


def test_ticks_of_a_day_are_one_row_with_the_last_time() -> None:
    site = make_site()
    night.record_tick(site=site, day=TODAY, now=NOW)
    night.record_tick(site=site, day=TODAY, now=minutes(1))
    row = NightRun.objects.get()
    assert (row.job, row.started_at, row.finished_at) == ("tick", NOW, minutes(1))


@pytest.mark.django_db(transaction=True)
def test_of_eight_workers_at_once_one_claims_the_day() -> None:
    site = make_site()
    assert sum(run is not None for run in at_once(lambda: claim(site))) == 1


@pytest.mark.django_db(transaction=True)
def test_of_eight_workers_at_once_one_takes_up_what_a_killed_one_left() -> None:
    site = make_site()
    claim(site)
    assert sum(run is not None for run in at_once(lambda: claim(site, now=minutes(30)))) == 1
