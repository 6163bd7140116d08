"""The secret address as a real subscriber meets it: fetched over HTTP, shown, fetched again after changes."""

from __future__ import annotations

from pathlib import Path

import pytest
import time_machine
from pytest_django.live_server_helper import LiveServer

from followup.queries.access import hash_of_token
from followup.services.booking import cancel_appointment, move_appointment
from tests.builders import (
    NOW,
    TODAY,
    days,
    make_appointment,
    make_calendar_address,
    make_patient,
    make_session,
    make_site,
)
from tests.interchange.feeds.subscriber import Shown, Subscriber

pytestmark = pytest.mark.django_db(transaction=True)


@time_machine.travel(NOW)
def test_booked_moved_and_cancelled_reach_a_subscriber(live_server: LiveServer, tmp_path: Path) -> None:
    site = make_site(name="عيادة الشبكية", time_zone="Africa/Cairo")
    make_calendar_address(site=site, token_hash=hash_of_token("secret"))
    stays, moves, off = (
        make_appointment(patient=make_patient(site=site), session=make_session(site=site, day=days(day)))
        for day in (7, 8, 9)
    )
    subscriber = Subscriber(tmp_path, f"{live_server.url}/calendar/secret.ics", site.time_zone)

    def seen() -> list[Shown]:
        subscriber.fetch()
        return subscriber.shown(f"{TODAY}", "90d")

    assert [each.starts for each in seen()] == [f"{days(day)} 09:00" for day in (7, 8, 9)]
    # On 24 April the clocks go forward: nine on the wall is another hour in Greenwich.
    summer = make_session(site=site, day=days(60))
    move_appointment(by=None, now=NOW, today=TODAY, appointment=moves, session=summer)
    cancel_appointment(by=None, now=NOW, appointment=off, cancelled_by="clinic", reason="Ill")
    where = "local time at عيادة الشبكية (Africa/Cairo)."
    assert seen() == [
        Shown(
            "2026-03-09 09:00",
            "2026-03-09 09:20",
            "Eye clinic visit",
            "CONFIRMED",
            f"9 Mar 2026, 09:00 {where}",
        ),
        Shown(
            *("2026-03-11 09:00", "2026-03-11 09:20", "Cancelled: Eye clinic visit", "CANCELLED"),
            f"11 Mar 2026, 09:00 {where}",
        ),
        Shown(
            "2026-05-01 09:00",
            "2026-05-01 09:30",
            "Eye clinic visit",
            "CONFIRMED",
            f"1 May 2026, 09:00 {where}",
        ),
    ]
    assert stays.sequence == 0
