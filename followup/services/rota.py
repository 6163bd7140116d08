"""Sessions that repeat: the same list every week."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta

from django.db import transaction

from followup.domain.errors import Refused
from followup.models import Session, Site, Staff
from followup.services.booking import open_session

MOST_WEEKS = 53


@transaction.atomic
def open_weekly(
    *,
    by: Staff | None,
    now: datetime,
    site: Site,
    kind: str,
    title: str,
    day: date,
    starts: time,
    ends: time,
    places: int,
    weeks: int,
) -> list[Session]:
    """The same list on `day` and in each of the weeks after it, `weeks` in all; every one of them or none.

    Raises as `booking.open_session` does, and Refused for fewer than one or more than 53 weeks.
    """
    if not 1 <= weeks <= MOST_WEEKS:
        raise Refused(
            f"Open 1 to {MOST_WEEKS} weeks at once, not {weeks}.", field="weeks", code="weeks_range"
        )
    return [
        open_session(
            by=by,
            now=now,
            site=site,
            kind=kind,
            title=title,
            day=day + timedelta(weeks=number),
            starts=starts,
            ends=ends,
            places=places,
        )
        for number in range(weeks)
    ]
