"""Many people with a reminder each in the outbox, of whom every fifth must not get it any more."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, time, timedelta
from uuid import UUID, uuid5

from followup.domain.dates.zones import local_day, localise
from followup.interchange.messages.send import message_id
from followup.models import Appointment, Consent, OutboxMessage, Patient, Session, Site, Staff
from followup.queries.reminders import reminder_key
from tests.servers import MailServer

NAMES = UUID("6ba7b811-9dad-11d1-80b4-00c04fd430c8")
AHEAD = timedelta(days=5)
UNWANTED = 5
"""One in so many was moved, cancelled, withdrew or died after the message was written; the four in turn."""


@dataclass(frozen=True)
class Written:
    """Message-IDs of the reminders that are to arrive, and of those that must not."""

    wanted: frozenset[str]
    unwanted: frozenset[str]
    returned: frozenset[str] = frozenset()
    """Of the wanted, those to addresses that the mail server refuses for good."""


@dataclass(frozen=True)
class Outcome:
    """What became of the messages, counted at the mail server and in the outbox."""

    messages: int
    lost: int
    wrongly_sent: int
    duplicates: int
    """Arrived again under the same Message-ID."""
    unknown: int
    """Arrived under a Message-ID that no message has."""
    returned: int
    """Refused for good, each back on the recall list."""

    @property
    def is_right(self) -> bool:
        return not (self.lost or self.wrongly_sent or self.unknown)


def write_reminders(*, count: int, now: datetime, refused: int = 0) -> Written:
    """Rows as the services write them; facts changed behind the outbox's back, so that sending must look.

    `refused`: one in so many has an address in the domain refused.example.
    """
    site = Site.objects.create(name=f"Clinic {Site.objects.count()}", quiet_from_hour=0, quiet_until_hour=0)
    patients = _patients(site, count, refused)
    appointments = _appointments(site, patients, now)
    messages = [_message(appointment, now) for appointment in appointments]
    OutboxMessage.objects.bulk_create(messages, batch_size=500)
    spoiled = [number for number in range(count) if number % UNWANTED == UNWANTED - 1]
    _change_facts([appointments[number] for number in spoiled], now)
    unwanted = {message_id(messages[number]) for number in spoiled}
    wanted = {message_id(message) for message in messages} - unwanted
    returned = {message_id(message) for message in messages if message.to.endswith("@refused.example")}
    return Written(frozenset(wanted), frozenset(unwanted), frozenset(returned & wanted))


def count_outcome(written: Written, server: MailServer) -> Outcome:
    arrived = [str(message["Message-ID"]) for message in server.received]
    distinct = set(arrived)
    failed = OutboxMessage.objects.filter(state="failed")
    returned = sum(
        message_id(message) in written.returned
        and Patient.objects.filter(pk=int(message.key.split("/")[1]), attempts__result="returned").exists()
        for message in failed
    )
    return Outcome(
        messages=len(written.wanted),
        lost=len(written.wanted - written.returned - distinct) + len(written.returned) - returned,
        wrongly_sent=len(written.unwanted & distinct),
        duplicates=len(arrived) - len(distinct),
        unknown=len(distinct - written.wanted - written.unwanted),
        returned=returned,
    )


def _patients(site: Site, count: int, refused: int) -> list[Patient]:
    def domain(number: int) -> str:
        return "refused" if refused and number % refused == 0 else "home"

    patients = [
        Patient(site=site, record_number=f"{number:06}", email=f"p{number}@{domain(number)}.example")
        for number in range(count)
    ]
    made = Patient.objects.bulk_create(patients, batch_size=500)
    told = Staff.objects.create_user(f"desk{site.pk}", role="coordinator")
    day = local_day(site_start(), site.time_zone)
    Consent.objects.bulk_create(
        [Consent(patient=patient, channel="email", given_on=day, given_by=told) for patient in made],
        batch_size=500,
    )
    return made


def site_start() -> datetime:
    """Long before everything else."""
    return datetime.fromisoformat("2020-01-01T00:00Z")


def _appointments(site: Site, patients: list[Patient], now: datetime) -> list[Appointment]:
    day = local_day(now + AHEAD, site.time_zone)
    hours = {"starts": time(9), "ends": time(17), "places": len(patients)}
    session = Session.objects.create(site=site, kind="clinic", title="Retina clinic", day=day, **hours)
    place = {
        "session": session,
        "lane": "review",
        "day": day,
        "local_time": time(9),
        "starts_at": localise(day, time(9), site.time_zone),
        "changed_at": site_start(),
    }
    appointments = [
        Appointment(patient=patient, uid=uuid5(NAMES, f"{site.pk}/{patient.pk}"), **place)
        for patient in patients
    ]
    return Appointment.objects.bulk_create(appointments, batch_size=500)


def _message(appointment: Appointment, now: datetime) -> OutboxMessage:
    return OutboxMessage(
        key=reminder_key(appointment, 7),
        site=appointment.patient.site,
        kind="reminder",
        to=appointment.patient.email,
        subject="Your visit",
        body="You have a visit.\n" * 20,
        due_at=now,
    )


def _change_facts(appointments: list[Appointment], now: datetime) -> None:
    """Moved just now, so that no reminder of the new date is due yet."""
    moved, cancelled, withdrew, died = (appointments[kind::4] for kind in range(4))
    places = Appointment.objects
    places.filter(pk__in=_ids(moved)).update(sequence=1, changed_at=now)
    places.filter(pk__in=_ids(cancelled)).update(state="cancelled", cancelled_by="patient", sequence=1)
    for appointment in withdrew:
        consent = Consent.objects.get(patient=appointment.patient_id)
        consent.withdrawn_on, consent.withdrawn_by = consent.given_on, consent.given_by
        consent.save()
    Patient.objects.filter(pk__in=[appointment.patient_id for appointment in died]).update(
        died_on=local_day(site_start(), "UTC")
    )


def _ids(appointments: list[Appointment]) -> list[int]:
    return [appointment.pk for appointment in appointments]
