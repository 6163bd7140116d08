"""How the pages write numbers, days and instants."""

from __future__ import annotations

from datetime import date, datetime

from django import template

from followup.domain.dates.zones import wall_clock
from followup.domain.words import Language
from followup.models import Site

register = template.Library()


@register.filter
def plural(number: int, words: str) -> str:
    """`3|plural:"day,days"` is "3 days"."""
    one, many = words.split(",")
    return f"{number} {one if number == 1 else many}"


@register.filter
def language_name(written: str) -> str:
    """A language by its English name where messages are written in it, else as it stands in the record."""
    known = Language.recognised(written)
    return known.name.capitalize() if known else written


@register.filter
def days_since(day: date, earlier: date | None) -> int:
    """Whole days from `earlier` to `day`; 0 where there is no earlier day."""
    return (day - earlier).days if earlier else 0


@register.filter
def at_site(instant: datetime | None, site: Site) -> str:
    """An instant as the wall clock of the site showed it."""
    return wall_clock(instant, site.time_zone) if instant else ""
