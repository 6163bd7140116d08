"""A visit is at a time on the clinic's wall: where the rules of the clocks change, its instant follows.

A zone's law can change after a visit was booked (Cairo in 2023, Tehran in 2022), and a clinic's zone can be
corrected. Every change raises the sequence number, so that calendars and invitations are told.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator
from datetime import datetime, timedelta

from django.db import transaction

from followup.domain.dates.zones import local_day, localise
from followup.domain.errors import BadValue
from followup.models import Appointment, Patient, Site, Staff
from followup.services.places import AWAITING, awaiting, keep_wall_time

log = logging.getLogger(__name__)


@transaction.atomic
def keep_wall_times(*, by: Staff | None, now: datetime, site: Site) -> int:
    """Puts right the instants of visits from today on; how many there were.

    A time that the clocks now skip stays as it is, and is logged: somebody must move that visit.
    """
    shifted = list(_shifted(site, now))
    people = Patient.objects.filter(pk__in={patient for _, patient in shifted}).order_by("id")
    list(people.select_for_update(no_key=True))
    held = awaiting(Appointment.objects.filter(pk__in=[pk for pk, _ in shifted]))
    for appointment in held:
        keep_wall_time(by, now, appointment)
    return len(held)


def _shifted(site: Site, now: datetime) -> Iterator[tuple[int, int]]:
    """Visit and person, of visits that await their outcome and are at another instant than the wall says."""
    first = local_day(now, site.time_zone) - timedelta(days=1)
    ahead = Appointment.objects.filter(session__site=site, state__in=AWAITING, day__gte=first).order_by("id")
    for pk, patient, day, wall, starts in ahead.values_list(
        "pk", "patient_id", "day", "local_time", "starts_at"
    ):
        try:
            if localise(day, wall, site.time_zone).timestamp() != starts.timestamp():
                yield pk, patient
        except BadValue as fault:
            log.warning("Visit %s keeps its instant: %s", pk, fault.message)
