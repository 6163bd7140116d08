"""The night's steps: at the site's own hour, once a day, once a message, whatever breaks or runs twice."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
import time_machine
from django.conf import LazySettings

from followup.jobs import night
from followup.models import Appointment, NightRun, OutboxMessage, PathwayVersion, Site
from followup.queries.night import night_work
from followup.services.pathway import load_pathways, replan_eyes
from tests.at_once import at_once
from tests.builders import (
    days,
    make_appointment,
    make_consent,
    make_message,
    make_operation,
    make_patient,
    make_pattern,
    make_site,
)
from tests.servers import MailServer, free_port

pytestmark = pytest.mark.django_db

MONDAY_NINE = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
FRIDAY_NINE = MONDAY_NINE - timedelta(days=3)


@pytest.fixture
def site(pathways: list[PathwayVersion]) -> Site:
    return make_site(digest_email="list@clinic.example\nsurgeon@clinic.example\n", digest_hour=6)


@pytest.fixture
def monday() -> Iterator[time_machine.Coordinates]:
    """Monday nine o'clock; the clock stands still unless the test moves it."""
    with time_machine.travel(MONDAY_NINE, tick=False) as clock:
        yield clock


def make_reminded(site: Site, *, ahead: int = 8) -> Appointment:
    """A visit so many days after Monday, booked long ago by somebody who agreed to e-mail."""
    patient = make_patient(site=site, email=f"reader{site.patients.count()}@home.example")
    make_consent(patient=patient)
    booked = MONDAY_NINE - timedelta(days=90)
    return make_appointment(patient=patient, day=days(ahead), changed_at=booked)


def addresses(mail_server: MailServer) -> list[str]:
    return sorted(str(message["To"]) for message in mail_server.received)


@pytest.mark.parametrize(
    ("zone", "hour", "instant", "due"),
    [
        ("Africa/Cairo", 8, "2025-01-15T05:59Z", False),
        ("Africa/Cairo", 8, "2025-01-15T06:00Z", True),
        ("Africa/Cairo", 8, "2025-07-15T04:59Z", False),
        ("Africa/Cairo", 8, "2025-07-15T05:00Z", True),
        ("Africa/Cairo", 8, "2025-07-15T20:59Z", True),
        ("Africa/Cairo", 8, "2025-07-15T21:00Z", False),
        ("Europe/Berlin", 2, "2026-03-29T00:59Z", False),
        ("Europe/Berlin", 2, "2026-03-29T01:00Z", True),
        ("Pacific/Kiritimati", 0, "2026-03-01T10:00Z", True),
        ("Asia/Kathmandu", 6, "2026-03-02T00:14Z", False),
        ("Asia/Kathmandu", 6, "2026-03-02T00:15Z", True),
    ],
    ids=[
        "winter, before eight",
        "winter, eight",
        "summer, before eight",
        "summer, eight",
        "the evening, still today",
        "midnight, a new day",
        "before the skipped hour",
        "the hour that does not exist has passed",
        "a day ahead of Greenwich",
        "a quarter-hour zone, before six",
        "a quarter-hour zone, six",
    ],
)
def test_the_digest_hour_is_the_hour_on_the_clinic_s_wall(
    zone: str, hour: int, instant: str, due: bool
) -> None:
    site = Site(time_zone=zone, digest_hour=hour, digest_email="list@clinic.example")
    assert night.digest_is_due(site, datetime.fromisoformat(instant)) is due


@pytest.mark.usefixtures("pathways")
def test_an_hour_that_comes_twice_brings_one_digest(mail_server: MailServer) -> None:
    make_site(time_zone="Europe/Berlin", digest_hour=2, digest_email="list@clinic.example")
    for instant in ["2026-10-25T00:00Z", "2026-10-25T01:00Z", "2026-10-25T02:00Z"]:
        with time_machine.travel(datetime.fromisoformat(instant), tick=False):
            night.run_night()
    assert addresses(mail_server) == ["list@clinic.example"]


def test_each_address_gets_the_day_s_digest_once_however_often_the_night_runs(
    site: Site, mail_server: MailServer, monday: time_machine.Coordinates
) -> None:
    for _ in range(3):
        night.run_night()
        monday.shift(timedelta(hours=1))
    assert addresses(mail_server) == ["list@clinic.example", "surgeon@clinic.example"]
    monday.shift(timedelta(days=1))
    night.run_night()
    assert len(mail_server.received) == 4


def test_before_the_hour_and_without_addresses_nothing_is_written(
    mail_server: MailServer, monday: time_machine.Coordinates
) -> None:
    make_site(digest_email="", digest_hour=0)
    make_site(digest_email="list@clinic.example", digest_hour=10)
    night.run_night()
    assert (mail_server.received, OutboxMessage.objects.count()) == ([], 0)


def test_the_digest_counts_the_eyes_and_names_nobody(
    site: Site, mail_server: MailServer, monday: time_machine.Coordinates
) -> None:
    eye = make_operation(site=site, date=date(2026, 1, 5)).eye
    replan_eyes(eye_ids=[eye.pk])
    night.run_night()
    text = mail_server.received[0].get_content()
    assert "Operated eyes: 1" in text
    assert eye.patient.family_name not in text
    assert eye.patient.record_number not in text


@pytest.mark.usefixtures("pathways")
def test_a_site_that_breaks_does_not_keep_the_others_waiting(
    mail_server: MailServer, monday: time_machine.Coordinates, caplog: pytest.LogCaptureFixture
) -> None:
    make_site(name="Nowhere", time_zone="Nowhere/None", digest_email="list@nowhere.example")
    make_site(digest_email="list@clinic.example")
    night.run_night()
    assert addresses(mail_server) == ["list@clinic.example"]
    assert "The night's work of Nowhere broke off." in caplog.text


def test_a_digest_that_cannot_be_counted_says_why_and_is_tried_again(
    mail_server: MailServer, monday: time_machine.Coordinates, settings: LazySettings
) -> None:
    site = make_site(digest_email="list@clinic.example")
    night.run_night()
    assert mail_server.received == []
    (problem,) = night_work(site=site).problems
    assert problem.startswith("2 Mar 2026: Refused: No pathway is loaded")
    load_pathways(folder=Path(settings.BASE_DIR) / "fixtures" / "pathways")
    monday.shift(timedelta(minutes=16))
    night.run_night()
    assert addresses(mail_server) == ["list@clinic.example"]
    assert night_work(site=site).problems == ()


def test_a_mail_server_that_is_away_in_the_morning_gets_the_digest_later_that_day(
    site: Site, mail_server: MailServer, monday: time_machine.Coordinates
) -> None:
    mail_server.busy = True
    night.run_night()
    assert mail_server.received == []
    mail_server.busy = False
    monday.shift(timedelta(minutes=2))
    night.run_night()
    assert addresses(mail_server) == ["list@clinic.example", "surgeon@clinic.example"]


def test_after_a_stop_over_the_weekend_monday_brings_one_digest_and_lists_what_was_not_sent(
    site: Site, mail_server: MailServer, monday: time_machine.Coordinates
) -> None:
    monday.move_to(FRIDAY_NINE)
    mail_server.busy = True
    night.run_night()
    monday.move_to(MONDAY_NINE)
    mail_server.busy = False
    night.run_night()
    assert addresses(mail_server) == ["list@clinic.example", "surgeon@clinic.example"]
    assert {message["Subject"] for message in mail_server.received} == {
        f"{site.name}, 2 Mar 2026: newly overdue 0, oil past its limit 0"
    }
    undelivered = night_work(site=site).undelivered
    assert [(message.state, message.key.split("/")[2]) for message in undelivered] == [
        ("withheld", "2026-02-27"),
        ("withheld", "2026-02-27"),
    ]


def test_who_agreed_is_reminded_seven_and_two_days_before(
    mail_server: MailServer, monday: time_machine.Coordinates
) -> None:
    place = make_reminded(make_site())
    told = []
    for _ in range(9):
        night.run_night()
        night.run_night()
        told.append(len(mail_server.received))
        monday.shift(timedelta(days=1))
    assert told == [0, 1, 1, 1, 1, 1, 2, 2, 2]
    assert addresses(mail_server) == [place.patient.email] * 2


def test_after_a_stop_over_the_weekend_useful_reminders_go_once_and_past_visits_are_listed(
    mail_server: MailServer, monday: time_machine.Coordinates
) -> None:
    site = make_site()
    past = [make_reminded(site, ahead=-1) for _ in range(3)]
    useful = [make_reminded(site, ahead=ahead) for ahead in (1, 2, 6)]
    for _ in range(3):
        night.run_night()
    assert addresses(mail_server) == sorted(place.patient.email for place in useful)
    undelivered = night_work(site=site).undelivered
    assert {message.key.split("/")[1] for message in undelivered} == {str(place.patient_id) for place in past}
    assert {message.problem for message in undelivered} == {"The visit of 1 Mar 2026 is past."}


def test_a_reminder_that_cannot_be_written_keeps_none_waiting(
    mail_server: MailServer, monday: time_machine.Coordinates, caplog: pytest.LogCaptureFixture
) -> None:
    site = make_site()
    broken = make_reminded(site, ahead=2)
    broken.patient.time_zone = "Nowhere/None"
    broken.patient.save()
    other = make_reminded(site, ahead=2)
    night.run_night()
    assert addresses(mail_server) == [other.patient.email]
    assert "Nowhere/None" in caplog.text


def test_a_gateway_that_is_away_keeps_no_mail_waiting(
    mail_server: MailServer, monday: time_machine.Coordinates, settings: LazySettings
) -> None:
    settings.TEXT_GATEWAY_URL = f"http://127.0.0.1:{free_port()}/"
    site = make_site()
    for _ in range(2):
        make_message(site=site, kind="note", channel="text", to="555", due_at=FRIDAY_NINE)
    make_message(site=site, kind="note", to="ward@clinic.example", due_at=MONDAY_NINE)
    assert night.send_due_messages() == 1
    assert OutboxMessage.objects.filter(channel="text", attempts=1).count() == 1


def test_a_long_queue_goes_out_in_portions(
    mail_server: MailServer, monday: time_machine.Coordinates, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(night, "MOST_MESSAGES", 2)
    site = make_site()
    for _ in range(3):
        make_message(site=site, kind="note", due_at=MONDAY_NINE)
    assert [night.send_due_messages() for _ in range(3)] == [2, 1, 0]


@pytest.mark.django_db(transaction=True)
def test_eight_nights_at_once_send_one_digest_to_each_address(
    site: Site, mail_server: MailServer, monday: time_machine.Coordinates
) -> None:
    at_once(night.run_night)
    assert addresses(mail_server) == ["list@clinic.example", "surgeon@clinic.example"]
    assert NightRun.objects.filter(job="digest").count() == 1


def test_the_rota_opens_its_sessions_once_a_day(monday: time_machine.Coordinates) -> None:
    site = make_site(sessions_weeks_ahead=2)
    pattern = make_pattern(site=site)
    for _ in range(2):
        night.run_night()
        monday.shift(timedelta(hours=1))
    assert [str(row.day) for row in pattern.sessions.order_by("day")] == [
        "2026-03-02",
        "2026-03-09",
        "2026-03-16",
    ]
    monday.shift(timedelta(days=7))
    night.run_night()
    assert pattern.sessions.count() == 4
    assert NightRun.objects.filter(job="rota", finished_at__isnull=False).count() == 2


def test_a_rota_that_breaks_is_tried_again_and_keeps_no_message_waiting(
    pathways: list[PathwayVersion], monday: time_machine.Coordinates, mail_server: MailServer
) -> None:
    site = make_site(sessions_weeks_ahead=2, country="XX", digest_email="list@clinic.example", digest_hour=6)
    make_pattern(site=site)
    night.run_night()
    assert len(mail_server.received) == 1
    assert 'No public holidays are known for "XX"' in NightRun.objects.get(job="rota").problem
    Site.objects.update(country="")
    monday.shift(timedelta(minutes=16))
    night.run_night()
    assert site.sessions.count() == 3
