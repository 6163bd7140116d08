"""The rota as its page shows it: patterns with what differs, and the days on which the site is shut."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from followup.domain.dates.rota import Repeats, is_held
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


def shut_days(site: Site, first: date, last: date) -> dict[date, str]:
    """Days on which the site holds no repeating session, with the reason: public holidays and closures."""
    shut = public_holidays(site.country, first, last)
    for closure in Closure.objects.filter(site=site, first_day__lte=last, last_day__gte=first).order_by("id"):
        for number in range(max(first, closure.first_day).toordinal(), closure.last_day.toordinal() + 1):
            day = date.fromordinal(number)
            if day <= last:
                shut[day] = closure.reason
    return shut


def repeats_of(pattern: SessionPattern) -> Repeats:
    return Repeats(pattern.weekday, pattern.first_day, pattern.last_day, pattern.every_weeks)


def patterns_of(site: Site) -> list[SessionPattern]:
    """Every pattern of the site with its exceptions at hand."""
    patterns = SessionPattern.objects.filter(site=site).prefetch_related("exceptions")
    return list(patterns.order_by("id"))


def planned_days(
    pattern: SessionPattern, shut: Mapping[date, str], first: date, last: date
) -> dict[date, dict[str, Any]]:
    """The days from `first` to `last` on which this pattern is held, each with its hours and places.

    Needs the exceptions at hand.
    """
    exceptions = {each.day: each for each in pattern.exceptions.all()}
    left_out = {day for day, each in exceptions.items() if each.left_out}
    return {
        day: _values(pattern, exceptions.get(day))
        for day in repeats_of(pattern).days(first, last)
        if is_held(day, shut, left_out, exceptions)
    }


def _values(pattern: SessionPattern, exception: PatternException | None) -> dict[str, Any]:
    values: dict[str, Any] = {"starts": pattern.starts, "ends": pattern.ends, "places": pattern.places}
    if exception is not None:
        said = {name: getattr(exception, name) for name in values}
        values |= {name: value for name, value in said.items() if value is not None}
    return values | {"urgent_places": min(pattern.urgent_places, values["places"])}
