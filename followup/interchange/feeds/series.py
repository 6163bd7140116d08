"""A repeating entry as the times on the wall when it happens."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from itertools import chain

from followup.interchange.feeds.entries import Entry
from followup.interchange.feeds.moments import at, instant, is_day
from followup.interchange.feeds.problems import Problem, Unreadable
from followup.interchange.feeds.repeats import Rule
from followup.interchange.feeds.rules import walls_of
from followup.interchange.feeds.zones_in import DatabaseZone

MOST_STEPS = 200_000
"""Of a rule from its start to the end of the period, so that no rule can keep the reader busy for ever."""
_MARGIN = timedelta(days=2)
_LEAP_DAYS_APART = timedelta(days=8 * 366)
"""How far past the period the next date of a rule may be: 29 February, over a year such as 2100."""
_STEP = {
    "SECONDLY": timedelta(seconds=1),
    "MINUTELY": timedelta(minutes=1),
    "HOURLY": timedelta(hours=1),
    "DAILY": timedelta(days=1),
    "WEEKLY": timedelta(weeks=1),
    "MONTHLY": timedelta(days=28),
    "YEARLY": timedelta(days=365),
}


@dataclass(slots=True)
class Series:
    """One repeating entry and its changed repetitions, by the repetition they change."""

    master: Entry
    changed: dict[str, Entry]
    problems: list[Problem] = field(default_factory=list)


def walls(series: Series, last: date) -> list[date | datetime]:
    """The start itself, then every time of the rule and every further date, up to the end of the period."""
    master = series.master
    rule = master.repeats.rule
    ruled = _rule_walls(series, rule, last) if rule else []
    return sorted({master.wall, *ruled, *_further(series)})


def _further(series: Series) -> Iterator[date | datetime]:
    """Further dates on the wall of the entry's zone; others are named and passed over."""
    master = series.master
    for listed in master.repeats.further:
        value = listed.moment.value
        if is_day(value) or listed.moment.zone == master.zone:
            yield listed.moment.wall
        elif isinstance(value, datetime) and isinstance(master.zone, DatabaseZone):
            yield value.astimezone(master.zone.place).replace(tzinfo=None)
        else:
            message = "RDATE is in another zone than DTSTART: it is not added."
            series.problems.append(Problem(listed.line, master.uid, str(listed.moment.wall), message))


def _rule_walls(series: Series, rule: Rule, last: date) -> list[date | datetime]:
    master = series.master
    begin = as_time(master.wall)
    end = datetime.combine(last + _MARGIN, time.max)
    if begin > end:
        return []
    _check_steps(rule, begin, end)
    times = _followed(rule, begin, end)
    if (first := next(times, None)) != begin:
        message = "the rule does not hold for the start itself, which is kept."
        series.problems.append(Problem(rule.line, master.uid, "", message))
        times = chain([first] if first else [], times)
    found = [begin]
    for wall in times:
        if (rule.count and len(found) >= rule.count) or _is_past(rule, master, wall):
            break
        found.append(wall)
    return [wall.date() for wall in found] if is_day(master.wall) else list(found)


def _followed(rule: Rule, begin: datetime, end: datetime) -> Iterator[datetime]:
    try:
        yield from walls_of(rule.recur, begin, end)
    except (ValueError, TypeError) as fault:
        # Hours and minutes that an interval steps over come to light on the way only.
        value = rule.recur.to_ical().decode()
        raise Unreadable(rule.line, value, f"this rule cannot be followed ({fault}).") from None


def _is_past(rule: Rule, master: Entry, wall: datetime) -> bool:
    until = rule.until
    if until is None:
        return False
    if not isinstance(until, datetime) or is_day(master.wall):
        return wall.date() > (until.date() if isinstance(until, datetime) else until)
    if until.tzinfo is None:
        return wall > until
    return instant(at(wall, master.zone)) > until


def _check_steps(rule: Rule, begin: datetime, end: datetime) -> None:
    if _steps(rule, begin, end) > MOST_STEPS:
        raise Unreadable(
            rule.line,
            rule.recur.to_ical().decode(),
            f"this rule takes more than {MOST_STEPS:,} steps. Ask for a shorter period.",
        )


def _steps(rule: Rule, begin: datetime, end: datetime) -> float:
    """About how many times are to be looked at; lists of hours, minutes and seconds multiply."""
    every = int(next(iter(rule.recur.get("INTERVAL", [])), 1))
    periods = (end - begin) / (_STEP[str(rule.recur["FREQ"][0])] * every)
    times = math.prod(len(rule.recur.get(name, [0])) for name in ("BYHOUR", "BYMINUTE", "BYSECOND"))
    if rule.count is not None and not any(name.startswith("BY") for name in rule.recur):
        return min(periods, rule.count)
    if any(name in rule.recur for name in ("BYMONTH", "BYMONTHDAY", "BYYEARDAY")):
        periods *= 1 + _LEAP_DAYS_APART / (end - begin)
    return max(periods, (end - begin).days) * times if times > 1 else periods


def as_time(value: date | datetime) -> datetime:
    """A day as its midnight on the wall."""
    return value if isinstance(value, datetime) else datetime.combine(value, time())
