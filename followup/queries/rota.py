"""The rota as its page shows it: patterns with what differs, and the days on which the site is shut."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from followup.models import Closure, PatternException, SessionPattern, Site
from followup.queries.holidays import public_holidays

HOLIDAYS_AHEAD = timedelta(days=366)


@dataclass(frozen=True, slots=True)
class RotaPage:
    patterns: tuple[SessionPattern, ...]
    """Those that go on, Monday first."""
    exceptions: tuple[PatternException, ...]
    closures: tuple[Closure, ...]
    holidays: tuple[tuple[date, str], ...]
    """Public holidays of the coming year."""


def has_rota(site: Site) -> bool:
    return SessionPattern.objects.filter(site=site).exists()


def rota_page(site: Site, day: date) -> RotaPage:
    """What holds from `day` on."""
    patterns = SessionPattern.objects.filter(site=site).exclude(last_day__lt=day)
    exceptions = PatternException.objects.filter(pattern__site=site, day__gte=day).select_related("pattern")
    closures = Closure.objects.filter(site=site, last_day__gte=day)
    return RotaPage(
        patterns=tuple(patterns.order_by("weekday", "starts", "id")),
        exceptions=tuple(exceptions.order_by("day", "id")),
        closures=tuple(closures.order_by("first_day", "id")),
        holidays=tuple(public_holidays(site.country, day, day + HOLIDAYS_AHEAD).items()),
    )
