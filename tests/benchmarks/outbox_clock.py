"""The night's work over a weekend on which the clocks are changed: each message once, on its day, by day."""

from __future__ import annotations

from collections import Counter
from datetime import date, datetime, time, timedelta

import time_machine

from followup.domain.dates.zones import localise, zone
from followup.interchange.messages.send import message_id
from followup.jobs.night import run_night
from followup.models import Appointment, Consent, OutboxMessage, Patient, Session, Site, Staff
from followup.queries.reminders import reminder_key
from tests.benchmarks.outbox_people import Outcome, site_start
from tests.servers import MailServer

ZONE = "Europe/Berlin"
SKIPPED_OR_REPEATED_HOUR = 2
DAYS_BEFORE = (7, 2)
PEOPLE_A_DAY = 5

CLOCK_CHANGES = [
    ("Clocks put forward (29 March 2026), every quarter of an hour", date(2026, 3, 27), date(2026, 3, 31)),
    ("Clocks put back (25 October 2026), every quarter of an hour", date(2026, 10, 23), date(2026, 10, 27)),
]


def over_clock_change(mail: MailServer, *, first: date, last: date, every_minutes: int) -> Outcome:
    """Runs the night from the first day's midnight at the site until the last day's, and counts."""
    site = Site.objects.create(
        name=f"Clinic {first}",
        time_zone=ZONE,
        digest_email="list@clinic.example",
        digest_hour=SKIPPED_OR_REPEATED_HOUR,
    )
    days = [first + timedelta(days=number) for number in range((last - first).days)]
    wanted = {key: day for day in days for key in _visits_told_of_on(site, day)}
    wanted |= {f"digest/{site.pk}/{day}/list@clinic.example": day for day in days}
    _run(localise(first, time(), ZONE), localise(last, time(), ZONE), every_minutes)
    return _count(site, wanted, mail)


def _run(instant: datetime, end: datetime, every_minutes: int) -> None:
    with time_machine.travel(instant, tick=False) as clock:
        while instant.timestamp() < end.timestamp():
            clock.move_to(instant.timestamp())
            run_night()
            instant = datetime.fromtimestamp(instant.timestamp() + every_minutes * 60, tz=zone(ZONE))


def _visits_told_of_on(site: Site, day: date) -> list[str]:
    """Books people for visits of which this is a day of reminder; the keys of those reminders."""
    told, _ = Staff.objects.get_or_create(username=f"desk-clock-{site.pk}")
    keys = []
    for before in DAYS_BEFORE:
        on = day + timedelta(days=before)
        for _ in range(PEOPLE_A_DAY):
            keys += [reminder_key(_book(site, on, told), before)]
    return keys


def _book(site: Site, day: date, told: Staff) -> Appointment:
    number = site.patients.count()
    patient = Patient.objects.create(site=site, record_number=f"{number:05}", email=f"c{number}@home.example")
    Consent.objects.create(patient=patient, channel="email", given_on=site_start().date(), given_by=told)
    hours = {"starts": time(9), "ends": time(17), "places": 100}
    session, _ = Session.objects.get_or_create(
        site=site, kind="clinic", title="Retina", day=day, defaults=hours
    )
    return Appointment.objects.create(
        patient=patient,
        session=session,
        lane="review",
        day=day,
        local_time=time(9),
        starts_at=localise(day, time(9), ZONE),
        changed_at=site_start(),
    )


def _count(site: Site, wanted: dict[str, date], mail: MailServer) -> Outcome:
    """Wrongly sent: on another day than its own, or, to a patient, in the quiet hours."""
    sent = {message.key: message for message in OutboxMessage.objects.filter(site=site, state="sent")}
    arrived = Counter(str(message["Message-ID"]) for message in mail.received)
    known = {message_id(message) for message in OutboxMessage.objects.all()}
    return Outcome(
        messages=len(wanted),
        lost=sum(key not in sent or not arrived[message_id(sent[key])] for key in wanted),
        wrongly_sent=sum(
            not _is_timely(message, wanted.get(key)) for key, message in sent.items() if key in wanted
        ),
        duplicates=sum(arrived.values()) - len(arrived),
        unknown=len(set(arrived) - known),
        returned=0,
    )


def _is_timely(message: OutboxMessage, day: date | None) -> bool:
    assert message.sent_at is not None
    there = message.sent_at.astimezone(zone(ZONE))
    site = message.site
    by_day = site.quiet_until_hour <= there.hour < site.quiet_from_hour
    return there.date() == day and (by_day or message.kind == "digest")
