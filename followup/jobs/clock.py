"""The night's clock: the one place where jobs read the time."""

from __future__ import annotations

from datetime import date, datetime

from django.utils import timezone

from followup.domain.dates.zones import local_day
from followup.models import Site


def now() -> datetime:
    return timezone.now()


def today(site: Site, instant: datetime) -> date:
    """The day at the site at an instant."""
    return local_day(instant, site.time_zone)
