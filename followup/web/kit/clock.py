"""The only clock of the pages: every rule below gets its day and its instant from here, as an argument."""

from __future__ import annotations

from datetime import date, datetime

from django.utils import timezone

from followup.domain.dates.zones import local_day
from followup.models import Site


def now() -> datetime:
    """This instant, aware, in UTC."""
    return timezone.now()


def today(site: Site) -> date:
    """The calendar date at the site, which may differ from the server's."""
    return local_day(now(), site.time_zone)
