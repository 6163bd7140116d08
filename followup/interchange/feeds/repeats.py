"""The lines that say when an entry happens again, read and judged but not yet followed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time

from icalendar.prop import vRecur

from followup.domain.errors import BadValue
from followup.interchange.feeds.lines import Block, Property
from followup.interchange.feeds.moments import Moment, is_day, read_moments
from followup.interchange.feeds.problems import LONGEST_VALUE, Problem, Unreadable
from followup.interchange.feeds.rules import walls_of
from followup.interchange.feeds.zones_in import Zones


@dataclass(frozen=True, slots=True)
class Rule:
    """count and until are None where the rule has none. until: as written, a date or a time."""

    line: int
    recur: vRecur
    count: int | None
    until: date | datetime | None


@dataclass(frozen=True, slots=True)
class Listed:
    """One date of an EXDATE or RDATE line."""

    line: int
    moment: Moment


@dataclass(frozen=True, slots=True)
class Repetition:
    rule: Rule | None = None
    further: tuple[Listed, ...] = ()
    left_out: tuple[Listed, ...] = ()

    def __bool__(self) -> bool:
        return self.rule is not None or bool(self.further)


def read_repetition(block: Block, zones: Zones, start: Moment) -> tuple[Repetition, list[Problem]]:
    """Raises Unreadable for a rule that cannot be followed; a date that cannot be read is left out, aloud."""
    problems: list[Problem] = []
    further = _listed(block.all("RDATE"), zones, start, problems)
    left_out = _listed(block.all("EXDATE"), zones, start, problems)
    problems += [
        _problem(found.line, found.raw, "EXRULE is no longer in use and is ignored.")
        for found in block.all("EXRULE")
    ]
    day = is_day(start.wall)
    problems += [_other_kind(found, start) for found in left_out if is_day(found.moment.wall) != day]
    problems += [
        _problem(found.line, str(found.moment.wall), "RDATE is not of the kind of DTSTART: it is not added.")
        for found in further
        if is_day(found.moment.wall) != day
    ]
    same_kind = [found for found in further if is_day(found.moment.wall) == day]
    line = block.first("RRULE")
    rule = _rule(line, start) if line else None
    problems += _about_until(rule, start) if rule else []
    return Repetition(rule, tuple(same_kind), tuple(left_out)), problems


def _listed(lines: Iterable[Property], zones: Zones, start: Moment, problems: list[Problem]) -> list[Listed]:
    found = []
    for line in lines:
        try:
            moments = read_moments(line, zones, floating=start.zone)
        except Unreadable as fault:
            problems.append(_problem(fault.line, fault.value, f"{fault.message} This date is passed over."))
            continue
        found += [Listed(line.line, moment) for moment in moments]
    return found


def _other_kind(found: Listed, start: Moment) -> Problem:
    value = str(found.moment.wall)
    if is_day(start.wall):
        return _problem(
            found.line, value, "EXDATE is a time and the entry is of whole days: its day is taken out."
        )
    return _problem(
        found.line,
        value,
        "EXDATE is a day and the entry has times. To the letter it takes nothing out; most writers mean the "
        "day, so whatever starts on that day is taken out.",
    )


def _rule(line: Property, start: Moment) -> Rule:
    try:
        recur = vRecur.from_ical(line.raw)
        first = start.wall if isinstance(start.wall, datetime) else datetime.combine(start.wall, time())
        walls_of(recur, first, None)
    except (ValueError, TypeError, AttributeError) as fault:
        raise Unreadable(line.line, line.raw, f"this rule cannot be read ({fault}).") from None
    except BadValue as fault:
        raise Unreadable(line.line, line.raw, fault.message) from None
    count, until = next(iter(recur.get("COUNT", [])), None), next(iter(recur.get("UNTIL", [])), None)
    if count is not None and count < 1:
        raise Unreadable(line.line, line.raw, "a COUNT below 1 means no visit at all.")
    return Rule(line.line, recur, count, until)


def _about_until(rule: Rule, start: Moment) -> list[Problem]:
    until, found = rule.until, []
    if until is not None and rule.count is not None:
        found.append("COUNT and UNTIL are both given: whichever ends it first is taken")
    if is_day(start.wall) and isinstance(until, datetime):
        found.append("UNTIL is a time and the entry is of whole days: its day is taken")
    if not is_day(start.wall) and until is not None and is_day(until):
        found.append("UNTIL is a day and the entry has times: the whole of that day is taken")
    if not is_day(start.wall) and isinstance(until, datetime) and until.tzinfo is None:
        found.append("UNTIL is not in UTC: it is taken as a time on the wall where the entry is")
    return [_problem(rule.line, rule.recur.to_ical().decode(), f"{text}.") for text in found]


def _problem(line: int, value: str, message: str) -> Problem:
    return Problem(line, "", value[:LONGEST_VALUE], message)
