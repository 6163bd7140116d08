"""Entries that repeat, followed over a stated period: each repetition at the same time on the wall."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from followup.domain.dates.zones import local_day
from followup.interchange.feeds.entries import Entry
from followup.interchange.feeds.moments import at, clock_note, instant, is_day
from followup.interchange.feeds.problems import Problem, Unreadable
from followup.interchange.feeds.read import ReadCalendar
from followup.interchange.feeds.series import Series, as_time, walls
from followup.interchange.feeds.versions import key_of, recurrence_key
from followup.interchange.feeds.zones_in import DatabaseZone

MOST_OCCURRENCES = 2_000
"""Of one entry within the period asked for: five years of every day."""


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


@dataclass(frozen=True, slots=True)
class _Leading:
    """A changed repetition that all later ones follow. changes: when it would have been, on the wall."""

    changes: date | datetime
    entry: Entry


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


def _series(entries: Sequence[Entry]) -> Iterator[Series]:
    masters = {entry.uid: entry for entry in reversed(entries) if entry.repeats and not entry.recurrence}
    changed: dict[str, dict[str, Entry]] = {uid: {} for uid in masters}
    for entry in entries:
        if entry.recurrence and entry.uid in masters:
            changed[entry.uid][recurrence_key(entry)] = entry
        elif masters.get(entry.uid) is not entry:
            yield Series(entry, {})
    for uid, master in masters.items():
        yield Series(master, changed[uid])


def _follow(series: Series, last: date) -> Iterator[Occurrence]:
    master = series.master
    if not master.repeats:
        key = key_of(master.starts) if master.shares_uid else recurrence_key(master)
        yield Occurrence(master, master.starts, master.ends, key, master.cancelled, master.notes)
        return
    keys = {key_of(at(wall, master.zone)): wall for wall in walls(series, last)}
    left_out = _left_out(series, keys, last)
    changed = _matched(series, keys)
    leading = [_Leading(keys[key], one) for key, one in changed.items() if one.and_later and key in keys]
    leading.sort(key=lambda one: as_time(one.changes))
    for key, wall in keys.items():
        if key not in changed and key not in left_out:
            yield _repetition(master, _leader(leading, wall), key, wall)
    for key, entry in changed.items():
        unmatched = _unmatched(series, entry, key in keys, last)
        cancelled = entry.cancelled or master.cancelled
        yield Occurrence(entry, entry.starts, entry.ends, key, cancelled, (*entry.notes, *unmatched))


def _matched(series: Series, keys: dict[str, date | datetime]) -> dict[str, Entry]:
    """The changed repetitions by key; one that names a day where there are times is that day's, if one is."""
    by_day = _keys_by_day(keys)
    found: dict[str, Entry] = {}
    for key, entry in series.changed.items():
        which = entry.recurrence.wall if entry.recurrence else entry.wall
        same_day = by_day.get(as_time(which).date(), [])
        if key not in keys and is_day(which) != is_day(series.master.wall) and len(same_day) == 1:
            message = "RECURRENCE-ID is not of the kind of DTSTART: the repetition on that day is taken."
            series.problems.append(Problem(entry.line, entry.uid, str(which), message))
            found[same_day[0]] = entry
        else:
            found[key] = entry
    return found


def _keys_by_day(keys: dict[str, date | datetime]) -> dict[date, list[str]]:
    by_day: dict[date, list[str]] = {}
    for key, wall in keys.items():
        by_day.setdefault(as_time(wall).date(), []).append(key)
    return by_day


def _leader(leading: Sequence[_Leading], wall: date | datetime) -> _Leading | None:
    """The last change of "this and all later ones" (RANGE=THISANDFUTURE) before a repetition."""
    return next((one for one in reversed(leading) if as_time(one.changes) < as_time(wall)), None)


def _repetition(master: Entry, leader: _Leading | None, key: str, wall: date | datetime) -> Occurrence:
    if leader is None:
        starts = at(wall, master.zone)
        notes = master.notes if starts == master.starts else (*master.notes, *_clocks(master, wall))
        return Occurrence(
            master, starts, master.length.after(wall, master.zone), key, master.cancelled, notes
        )
    entry = leader.entry
    moved = wall + (as_time(entry.wall) - as_time(leader.changes))
    cancelled = entry.cancelled or master.cancelled
    ends = entry.length.after(moved, entry.zone)
    return Occurrence(entry, at(moved, entry.zone), ends, key, cancelled, entry.notes)


def _clocks(master: Entry, wall: date | datetime) -> tuple[str, ...]:
    if not isinstance(wall, datetime) or not isinstance(master.zone, DatabaseZone):
        return ()
    note = clock_note(wall, master.zone)
    return (note,) if note else ()


def _check_number(master: Entry, happens: Sequence[Occurrence]) -> None:
    if len(happens) > MOST_OCCURRENCES:
        raise Unreadable(
            master.line,
            "",
            f"happens {len(happens):,} times in this period, and at most {MOST_OCCURRENCES:,} are taken. "
            "Ask for a shorter period.",
        )


def _left_out(series: Series, keys: dict[str, date | datetime], last: date) -> set[str]:
    """The keys of what EXDATE takes out: an instant, or all of a day where one of the two is a day."""
    master = series.master
    by_day = _keys_by_day(keys)
    found: set[str] = set()
    for listed in master.repeats.left_out:
        moment = listed.moment
        day = as_time(moment.wall).date()
        whole_day = is_day(moment.wall) or is_day(master.wall)
        hits = set(by_day.get(day, [])) if whole_day else {key_of(moment.value)} & keys.keys()
        if not hits and day <= last:
            message = "EXDATE is the time of no repetition and takes nothing out."
            series.problems.append(Problem(listed.line, master.uid, str(moment.value), message))
        found |= hits
    return found


def _unmatched(series: Series, entry: Entry, known: bool, last: date) -> tuple[str, ...]:
    if known or entry.recurrence is None or as_time(entry.recurrence.wall).date() > last:
        return ()
    message = "changes a repetition that the rule does not have: it is taken as a visit of its own"
    series.problems.append(Problem(entry.line, entry.uid, str(entry.recurrence.value), f"{message}."))
    return (message,)


def _day(value: date | datetime, site_zone: str) -> date:
    return local_day(value, site_zone) if isinstance(value, datetime) else value
