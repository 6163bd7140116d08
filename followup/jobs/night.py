"""The night's steps. Each may run twice, late, or in several workers at once, without harm."""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import datetime

from followup.domain.dates.zones import zone
from followup.interchange.feeds.invitation import invitation, sender_address
from followup.interchange.messages.digest import compose_digest
from followup.interchange.messages.invite import compose_invite
from followup.interchange.messages.reminder import compose_reminder
from followup.interchange.messages.send import Delivery, send_message
from followup.jobs import clock
from followup.models import Site
from followup.queries.invitations import Invite, invitations_to_write
from followup.queries.night import previous_digest_day
from followup.queries.reminders import Reminder, reminders_to_write
from followup.queries.reports.digest import digest_of
from followup.queries.rota import has_rota
from followup.services import night, outbox
from followup.services.invitations import queue_invitation
from followup.services.reminders import queue_reminder
from followup.services.rota import open_sessions
from followup.services.wall_times import keep_wall_times

log = logging.getLogger(__name__)

MOST_MESSAGES = 200
"""Messages sent in one run; the next run goes on with the rest."""


def run_night() -> None:
    """Everything that is due now: the digest, reminders and invitations of each site, then the outbox."""
    for site in Site.objects.order_by("id"):
        for step in STEPS:
            try:
                step(site, clock.now())
            except Exception:
                # One fault must not keep the rest waiting; the site's page shows what did not run.
                log.exception("The night's work of %s broke off.", site)
    send_due_messages()


def note_tick(site: Site, now: datetime) -> None:
    night.record_tick(site=site, day=clock.today(site, now), now=now)


def digest_is_due(site: Site, now: datetime) -> bool:
    """Has the site's digest hour come, by the clock on its own wall?"""
    return bool(addresses_of(site)) and now.astimezone(zone(site.time_zone)).hour >= site.digest_hour


def addresses_of(site: Site) -> list[str]:
    """Who gets the digest, each once."""
    return list(dict.fromkeys(site.digest_email.split()))


def write_digest(site: Site, now: datetime) -> int:
    """Write today's digest to the outbox once its hour has come; how many messages.

    None if it is done, or in another's hands.
    """
    if not digest_is_due(site, now):
        return 0
    day = clock.today(site, now)
    run = night.claim_night(site=site, job=night.DIGEST, day=day, now=now)
    if run is None:
        return 0
    try:
        digest = digest_of(site=site, day=day, since=previous_digest_day(site=site, day=day))
        subject, body = compose_digest(digest)
    except Exception as fault:
        night.put_off_night(run=run, now=now, problem=f"{type(fault).__name__}: {fault}")
        raise
    addresses = addresses_of(site)
    return len(night.finish_digest(run=run, now=now, addresses=addresses, subject=subject, body=body))


def open_repeating_sessions(site: Site, now: datetime) -> int:
    """Once a day, make the sessions of the next weeks what the rota says; how many it touched."""
    if not has_rota(site):
        return 0
    run = night.claim_night(site=site, job=night.ROTA, day=clock.today(site, now), now=now)
    if run is None:
        return 0
    try:
        rows = open_sessions(by=None, now=now, site=site)
    except Exception as fault:
        night.put_off_night(run=run, now=now, problem=f"{type(fault).__name__}: {fault}")
        raise
    night.finish_night(run=run, now=now)
    return len(rows)


def follow_the_clocks(site: Site, now: datetime) -> int:
    """Once a day, put right the instants of visits where the zone's rules changed since; how many."""
    run = night.claim_night(site=site, job=night.CLOCKS, day=clock.today(site, now), now=now)
    if run is None:
        return 0
    try:
        number = keep_wall_times(by=None, now=now, site=site)
    except Exception as fault:
        night.put_off_night(run=run, now=now, problem=f"{type(fault).__name__}: {fault}")
        raise
    night.finish_night(run=run, now=now)
    return number


def write_reminders(site: Site, now: datetime) -> int:
    """Write to the outbox the reminders whose day has come; how many. One that breaks keeps none waiting."""
    wanted = reminders_to_write(site=site, now=now)
    return sum(_write_reminder(reminder, now) for reminder in wanted)


def _write_reminder(reminder: Reminder, now: datetime) -> bool:
    try:
        subject, body = compose_reminder(reminder)
        queue_reminder(reminder=reminder, now=now, subject=subject, body=body)
    except Exception:
        log.exception("The reminder %s could not be written.", reminder.key)
        return False
    return True


def write_invitations(site: Site, now: datetime) -> int:
    """Write to the outbox the invitations to visits booked, moved or cancelled since; how many."""
    return sum(_write_invitation(invite, now) for invite in invitations_to_write(site=site, now=now))


def _write_invitation(invite: Invite, now: datetime) -> bool:
    try:
        subject, body = compose_invite(invite)
        calendar = invitation(invite.appointment, organizer=sender_address()).content.decode()
        queue_invitation(invite=invite, now=now, subject=subject, body=body, calendar=calendar)
    except Exception:
        log.exception("The invitation %s could not be written.", invite.key)
        return False
    return True


def send_due_messages() -> int:
    """Send what is due, one by one, until nothing is or no server takes any more; how many were sent."""
    sent = 0
    away: set[str] = set()
    for _ in range(MOST_MESSAGES):
        message = outbox.claim_next(now=clock.now(), without=away)
        if message is None:
            break
        delivery = send_message(message=message, now=clock.now())
        sent += delivery is Delivery.SENT
        if delivery is Delivery.SERVER_AWAY:
            away.add(message.channel)
    return sent


STEPS: tuple[Callable[[Site, datetime], object], ...] = (
    note_tick,
    open_repeating_sessions,
    follow_the_clocks,
    write_digest,
    write_reminders,
    write_invitations,
)
"""What is done for each site, in this order."""
