"""Entries that repeat, followed over a stated period: each repetition at the same time on the wall."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta

from followup.domain.dates.zones import local_day
from followup.interchange.feeds.entries import Entry
from followup.interchange.feeds.moments import at, clock_note, instant, is_day
from followup.interchange.feeds.problems import Problem, Unreadable
from followup.interchange.feeds.read import ReadCalendar
from followup.interchange.feeds.repeats import Listed, Rule
from followup.interchange.feeds.rules import walls_of
from followup.interchange.feeds.versions import key_of, recurrence_key
from followup.interchange.feeds.zones_in import DatabaseZone

MOST_OCCURRENCES = 2_000
"""Of one entry within the period asked for: five years of every day."""
MOST_STEPS = 200_000
"""Of a rule from its start to the end of the period, so that no rule can keep the reader busy for ever."""
_MARGIN = timedelta(days=2)
_STEP = {
    "SECONDLY": timedelta(seconds=1),
    "MINUTELY": timedelta(minutes=1),
    "HOURLY": timedelta(hours=1),
    "DAILY": timedelta(days=1),
    "WEEKLY": timedelta(weeks=1),
    "MONTHLY": timedelta(days=28),
    "YEARLY": timedelta(days=365),
}


@dataclass(frozen=True, slots=True)
class Occurrence:
    """One time that something happens.

    recurrence: which of the repetitions, or of the visits that share a UID, it is; "" for the only one.
    """

    entry: Entry
    starts: date | datetime
    ends: date | datetime
    recurrence: str
    cancelled: bool
    notes: tuple[str, ...] = ()

    @property
    def uid(self) -> str:
        return self.entry.uid


@dataclass(slots=True)
class _Series:
    """One repeating entry and its changed repetitions, by the repetition they change."""

    master: Entry
    changed: dict[str, Entry]
    problems: list[Problem] = field(default_factory=list)


def occurrences(calendar: ReadCalendar, *, first: date, last: date) -> tuple[list[Occurrence], list[Problem]]:
    """Everything that starts on a day at the site from `first` to `last`, in the order of time.

    An entry that cannot be followed, or that happens more than MOST_OCCURRENCES times, gives nothing and a
    problem that says so. Cancelled repetitions are among the result, marked.
    """
    found: list[Occurrence] = []
    problems: list[Problem] = []
    for series in _series(calendar.entries):
        try:
            happens = [
                one for one in _follow(series, last) if first <= _day(one.starts, calendar.site_zone) <= last
            ]
            _check_number(series.master, happens)
        except Unreadable as fault:
            problems.append(Problem(fault.line, series.master.uid, fault.value, fault.message, refused=True))
            continue
        found += happens
        problems += series.problems
    return sorted(found, key=lambda one: (instant(one.starts), one.uid)), problems


def _series(entries: Sequence[Entry]) -> Iterator[_Series]:
    masters = {entry.uid: entry for entry in reversed(entries) if entry.repeats and not entry.recurrence}
    changed: dict[str, dict[str, Entry]] = {uid: {} for uid in masters}
    for entry in entries:
        if entry.recurrence and entry.uid in masters:
            changed[entry.uid][recurrence_key(entry)] = entry
        elif masters.get(entry.uid) is not entry:
            yield _Series(entry, {})
    for uid, master in masters.items():
        yield _Series(master, changed[uid])


def _follow(series: _Series, last: date) -> Iterator[Occurrence]:
    master = series.master
    if not master.repeats:
        key = key_of(master.starts) if master.shares_uid else recurrence_key(master)
        yield Occurrence(master, master.starts, master.ends, key, master.cancelled, master.notes)
        return
    walls = _walls(series, last)
    keys = {key_of(at(wall, master.zone)): wall for wall in walls}
    _check_left_out(series, walls, last)
    for key, wall in keys.items():
        if key not in series.changed and not _is_left_out(master, wall):
            yield _repetition(series, keys, key, wall)
    for key, entry in series.changed.items():
        unmatched = _unmatched(series, entry, key in keys, last)
        cancelled = entry.cancelled or master.cancelled
        yield Occurrence(entry, entry.starts, entry.ends, key, cancelled, (*entry.notes, *unmatched))


def _repetition(
    series: _Series, keys: dict[str, date | datetime], key: str, wall: date | datetime
) -> Occurrence:
    """One repetition, changed as all later ones are if a change says so (RANGE=THISANDFUTURE)."""
    master = series.master
    leading = [k for k, entry in series.changed.items() if entry.and_later and k in keys and keys[k] < wall]
    if not leading:
        starts = at(wall, master.zone)
        notes = master.notes if starts == master.starts else (*master.notes, *_clocks(master, wall))
        return Occurrence(
            master, starts, master.length.after(wall, master.zone), key, master.cancelled, notes
        )
    latest = max(leading, key=lambda k: keys[k])
    entry = series.changed[latest]
    moved = wall + (entry.wall - keys[latest])
    cancelled = entry.cancelled or master.cancelled
    ends = entry.length.after(moved, entry.zone)
    return Occurrence(entry, at(moved, entry.zone), ends, key, cancelled, entry.notes)


def _clocks(master: Entry, wall: date | datetime) -> tuple[str, ...]:
    if not isinstance(wall, datetime) or not isinstance(master.zone, DatabaseZone):
        return ()
    note = clock_note(wall, master.zone)
    return (note,) if note else ()


def _walls(series: _Series, last: date) -> list[date | datetime]:
    """The start itself, then every time of the rule and every further date, up to the end of the period."""
    master = series.master
    rule = master.repeats.rule
    ruled = _rule_walls(series, rule, last) if rule else []
    return sorted({master.wall, *ruled, *_further(series)})


def _further(series: _Series) -> Iterator[date | datetime]:
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


def _rule_walls(series: _Series, rule: Rule, last: date) -> list[date | datetime]:
    master, day = series.master, is_day(series.master.wall)
    begin = _as_time(master.wall)
    end = datetime.combine(last + _MARGIN, time.max)
    _check_steps(rule, begin, end)
    found = [begin]
    times = walls_of(rule.recur, begin, end)
    for number, wall in enumerate(times):
        if number == 0 and wall != begin:
            series.problems.append(
                Problem(
                    rule.line, master.uid, "", "the rule does not hold for the start itself, which is kept."
                )
            )
        if wall == begin:
            continue
        if (rule.count and len(found) >= rule.count) or _is_past(rule, master, wall):
            break
        found.append(wall)
    return [wall.date() for wall in found] if day else list(found)


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
    every = int(next(iter(rule.recur.get("INTERVAL", [])), 1))
    steps = (end - begin) / (_STEP[str(rule.recur["FREQ"][0])] * every)
    if rule.count is not None and not any(name.startswith("BY") for name in rule.recur):
        steps = min(steps, rule.count)
    if steps > MOST_STEPS:
        raise Unreadable(
            rule.line,
            rule.recur.to_ical().decode(),
            f"this rule takes more than {MOST_STEPS:,} steps. Ask for a shorter period.",
        )


def _check_number(master: Entry, happens: Sequence[Occurrence]) -> None:
    if len(happens) > MOST_OCCURRENCES:
        raise Unreadable(
            master.line,
            "",
            f"happens {len(happens):,} times in this period, and at most {MOST_OCCURRENCES:,} are taken. "
            "Ask for a shorter period.",
        )


def _is_left_out(master: Entry, wall: date | datetime) -> bool:
    return any(_takes_out(listed, master, wall) for listed in master.repeats.left_out)


def _takes_out(listed: Listed, master: Entry, wall: date | datetime) -> bool:
    moment = listed.moment
    if is_day(moment.wall) or is_day(wall):
        return _as_time(moment.wall).date() == _as_time(wall).date()
    return instant(moment.value) == instant(at(wall, master.zone))


def _check_left_out(series: _Series, walls: Sequence[date | datetime], last: date) -> None:
    for listed in series.master.repeats.left_out:
        if _as_time(listed.moment.wall).date() > last:
            continue
        if not any(_takes_out(listed, series.master, wall) for wall in walls):
            message = "EXDATE is the time of no repetition and takes nothing out."
            series.problems.append(Problem(listed.line, series.master.uid, str(listed.moment.value), message))


def _unmatched(series: _Series, entry: Entry, known: bool, last: date) -> tuple[str, ...]:
    if known or entry.recurrence is None or _as_time(entry.recurrence.wall).date() > last:
        return ()
    message = "changes a repetition that the rule does not have: it is taken as a visit of its own"
    series.problems.append(Problem(entry.line, entry.uid, str(entry.recurrence.value), f"{message}."))
    return (message,)


def _as_time(value: date | datetime) -> datetime:
    return value if isinstance(value, datetime) else datetime.combine(value, time())


def _day(value: date | datetime, site_zone: str) -> date:
    return local_day(value, site_zone) if isinstance(value, datetime) else value
