"""The rota: patterns, the days on which one differs, closures; and the sessions that follow from them.

Whatever changes the rota ends in `open_sessions`, which makes the sessions on record what it says. It may run
any number of times. A session in which people are booked is left alone: a person decides, and moves them.
"""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from typing import Any

from django.db import transaction
from django.db.models import Model

from followup.domain.dates.zones import local_day
from followup.domain.errors import Refused
from followup.domain.words import SessionKind
from followup.models import Closure, PatternException, Session, SessionPattern, Site, Staff
from followup.queries.rota import repeats_of
from followup.services.booking import open_session
from followup.services.history import record_change, snapshot
from followup.services.rota_plan import RotaOutcome, RotaPlan, RotaRow
from followup.services.rows import known, locked, required, save_valid, set_fields
from followup.services.sessions import check_hours, hold_sessions

MOST_WEEKS = 53
_SESSION = ("kind", "title", "day", "starts", "ends", "places", "urgent_places", "cancelled")
_VERBS = {
    RotaOutcome.OPENED: "open_session",
    RotaOutcome.CHANGED: "change_session",
    RotaOutcome.REOPENED: "reopen_session",
    RotaOutcome.WITHDRAWN: "withdraw_session",
}


# Sessions from the rota


@transaction.atomic
def open_sessions(*, by: Staff | None, now: datetime, site: Site, weeks: int | None = None) -> list[RotaRow]:
    """Makes the sessions of the next weeks (by default what the site sets) what the rota says.

    Returns what it did, and the sessions that need a person, which it leaves as they are.
    """
    site = locked(site)
    hold_sessions(site)
    today = local_day(now, site.time_zone)
    last = today + timedelta(weeks=weeks or site.sessions_weeks_ahead)
    rows = RotaPlan(site, today, last).rows()
    for row in rows:
        if row.outcome is not RotaOutcome.PERSON:
            _apply(by, now, row)
    return rows


def _apply(by: Staff | None, now: datetime, row: RotaRow) -> None:
    session = row.session
    before = snapshot(session, _SESSION) if session.pk else {}
    for name, value in row.values.items():
        setattr(session, name, value)
    session.cancelled = session.withdrawn = row.outcome is RotaOutcome.WITHDRAWN
    save_valid(session)
    after = snapshot(session, _SESSION)
    record_change(
        by=by,
        at=now,
        site=session.site,
        verb=_VERBS[row.outcome],
        subject=session,
        before={name: value for name, value in before.items() if after[name] != value},
        after={name: value for name, value in after.items() if before.get(name) != value}
        | ({"reason": row.reason} if row.reason else {}),
    )


# Patterns


@transaction.atomic
def add_pattern(
    *,
    by: Staff | None,
    now: datetime,
    site: Site,
    kind: str,
    title: str,
    weekday: int,
    starts: time,
    ends: time,
    places: int,
    urgent_places: int = 0,
    first_day: date,
    last_day: date | None = None,
    every_weeks: int = 1,
) -> tuple[SessionPattern, list[RotaRow]]:
    """A session that repeats, with its sessions of the next weeks opened.

    Raises Refused for hours or places that do not fit, as `booking.open_session` does, for a last day before
    the first, and for a pattern that is there already; BadValue for an unknown kind or weekday.
    """
    pattern = SessionPattern(
        site=site,
        kind=known(SessionKind, kind, field="kind").value,
        title=required(title, field="title", message="Give the list a name."),
        weekday=weekday,
        starts=starts,
        ends=ends,
        places=places,
        urgent_places=urgent_places,
        first_day=first_day,
        last_day=last_day,
        every_weeks=every_weeks,
    )
    locked(site)
    _check_pattern(pattern)
    save_valid(pattern)
    _record(by, now, site, "add_pattern", pattern, {}, snapshot(pattern))
    return pattern, open_sessions(by=by, now=now, site=site)


def _check_pattern(pattern: SessionPattern) -> None:
    if pattern.last_day is not None and pattern.last_day < pattern.first_day:
        raise Refused(
            f"The last day, {pattern.last_day:%-d %b %Y}, comes before the first.",
            field="last_day",
            code="last_before_first",
        )
    first = repeats_of(pattern).days(pattern.first_day, pattern.first_day + timedelta(days=6))
    if not first:
        raise Refused(
            "No such weekday lies between the first and the last day.", field="last_day", code="no_day"
        )
    hours = {name: getattr(pattern, name) for name in ("starts", "ends", "places", "urgent_places")}
    check_hours(Session(site=pattern.site, title=pattern.title, day=first[0], **hours), first[0])
    same = {
        name: getattr(pattern, name) for name in ("site", "kind", "title", "weekday", "starts", "first_day")
    }
    if SessionPattern.objects.filter(**same).exists():
        raise Refused(f'"{pattern.title}" repeats so already.', field="title", code="pattern_exists")


@transaction.atomic
def end_pattern(*, by: Staff | None, now: datetime, pattern: SessionPattern, last_day: date) -> list[RotaRow]:
    """The pattern goes on until `last_day` and no longer; later sessions without people are withdrawn.

    Raises Refused for a day before the pattern's first.
    """
    site = locked(pattern.site)
    pattern = locked(pattern)
    if last_day < pattern.first_day:
        raise Refused(
            f"It began on {pattern.first_day:%-d %b %Y}. Choose that day or a later one.",
            field="last_day",
            code="last_before_first",
        )
    before, after = set_fields(pattern, {"last_day": last_day})
    save_valid(pattern)
    _record(by, now, site, "end_pattern", pattern, before, after)
    return open_sessions(by=by, now=now, site=site)


# One day that differs


@transaction.atomic
def except_day(
    *,
    by: Staff | None,
    now: datetime,
    pattern: SessionPattern,
    day: date,
    left_out: bool,
    reason: str,
    starts: time | None = None,
    ends: time | None = None,
    places: int | None = None,
) -> list[RotaRow]:
    """One day of a pattern is left out, or held otherwise, also where a holiday or closure would shut it.

    A second word about the same day replaces the first. Raises Refused for a day that is not the pattern's or
    is past, for new hours of a day left out, and for hours or places that do not fit.
    """
    site = locked(pattern.site)
    today = local_day(now, site.time_zone)
    if day < today or day not in repeats_of(pattern).days(day, day):
        raise Refused(
            f"{day:%-d %b %Y} is no coming day of {pattern}. Choose one of its days from today on.",
            field="day",
            code="not_a_day_of_the_pattern",
        )
    said = {"starts": starts, "ends": ends, "places": places}
    if left_out and any(value is not None for value in said.values()):
        raise Refused(
            "A day left out has no hours and no places.", field="left_out", code="left_out_or_changed"
        )
    found = PatternException.objects.filter(pattern=pattern, day=day).first()
    exception = found or PatternException(pattern=pattern, day=day)
    values = {"left_out": left_out, "reason": required(reason, field="reason", message="Say why."), **said}
    before, after = set_fields(exception, values)
    if not left_out:
        regular = {"starts": pattern.starts, "ends": pattern.ends, "places": pattern.places}
        held = regular | {name: value for name, value in said.items() if value is not None}
        check_hours(Session(site=site, title=pattern.title, day=day, **held), today)
    save_valid(exception)
    _record(by, now, site, "except_day", exception, before if found else {}, after | {"day": str(day)})
    return open_sessions(by=by, now=now, site=site)


@transaction.atomic
def remove_exception(*, by: Staff | None, now: datetime, exception: PatternException) -> list[RotaRow]:
    """The day is again as in the pattern."""
    site = locked(exception.pattern.site)
    return _removed(by, now, site, "remove_exception", exception)


# Closures


@transaction.atomic
def add_closure(
    *, by: Staff | None, now: datetime, site: Site, first_day: date, last_day: date, reason: str
) -> list[RotaRow]:
    """The site holds no repeating session on these days; those without people are withdrawn.

    Raises Refused for a last day before the first, or past.
    """
    site = locked(site)
    if last_day < max(first_day, local_day(now, site.time_zone)):
        raise Refused(
            "The last day must not come before the first, nor before today.",
            field="last_day",
            code="last_before_first",
        )
    closure = Closure(
        site=site,
        first_day=first_day,
        last_day=last_day,
        reason=required(reason, field="reason", message="Say why the site is shut."),
    )
    save_valid(closure)
    _record(by, now, site, "add_closure", closure, {}, snapshot(closure))
    return open_sessions(by=by, now=now, site=site)


@transaction.atomic
def remove_closure(*, by: Staff | None, now: datetime, closure: Closure) -> list[RotaRow]:
    """The site is open on these days after all; sessions that were withdrawn open again."""
    return _removed(by, now, locked(closure.site), "remove_closure", closure)


def _removed(by: Staff | None, now: datetime, site: Site, verb: str, row: Model) -> list[RotaRow]:
    _record(by, now, site, verb, row, snapshot(row), {})
    row.delete()
    return open_sessions(by=by, now=now, site=site)


def _record(
    by: Staff | None,
    now: datetime,
    site: Site,
    verb: str,
    row: Model,
    before: dict[str, Any],
    after: dict[str, Any],
) -> None:
    record_change(by=by, at=now, site=site, verb=verb, subject=row, before=before, after=after)


# One by one


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
    urgent_places: int = 0,
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
            urgent_places=urgent_places,
        )
        for number in range(weeks)
    ]
