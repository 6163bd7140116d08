"""The recall ladder: what to do next, and when, for somebody who did not come or cannot be booked.

A ladder is data, read from TOML: steps, each with its channels, its day after the missed or overdue date,
and who may take it; the last word is a clinician's. Nothing on it closes an eye.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from followup.domain.errors import BadValue
from followup.domain.facts import AttemptFact
from followup.domain.roles import Role
from followup.domain.words import Channel, ContactResult, Term

LONGEST = 366
"""No step lies further than this many days from the missed date."""


class LadderFault(BadValue):
    """A ladder that cannot be accepted."""

    code = "ladder"


class Hurry(Term):
    """Why the days are shorter."""

    OIL = "oil", "Oil or heavy liquid in the eye"
    ONLY_EYE = "only_eye", "Only eye"
    CHILD = "child", "Child"
    FIRST_WEEK = "first_week", "A review of the first week"


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to try. `day` counts from the missed or overdue date; `day_shorter` where it hurries."""

    key: str
    title: str
    channels: frozenset[Channel]
    day: int
    day_shorter: int
    by: frozenset[Role]
    script: str

    def after(self, shorter: bool) -> int:
        return self.day_shorter if shorter else self.day


@dataclass(frozen=True, slots=True)
class Ladder:
    """Steps in order. The last has no channels: a clinician decides."""

    source: str
    hurries: frozenset[Hurry]
    steps: tuple[Step, ...]

    @property
    def decide(self) -> Step:
        return self.steps[-1]

    def is_shorter(self, found: Iterable[Hurry]) -> bool:
        return not self.hurries.isdisjoint(found)

    def served_by(self, channel: Channel) -> Step | None:
        """The first step that this channel serves; None where it serves none."""
        return next((step for step in self.steps if channel in step.channels), None)


@dataclass(frozen=True, slots=True)
class Chase:
    """What is known of somebody who is to be reached about one eye."""

    attempts: tuple[AttemptFact, ...] = ()
    """In the order they were made."""
    overdue_since: date | None = None
    """None: not overdue, only to be booked."""
    seen_on: date | None = None
    settled_on: date | None = None
    """A clinician last signed a plan, or a day to see the eye again."""
    missed_on: date | None = None
    """The last place that was not attended."""
    shorter: bool = False


@dataclass(frozen=True, slots=True)
class Rung:
    """Where somebody stands on the ladder: the next step, and the day it is due."""

    step: Step
    due: date
    number: int
    """The step's place among the steps, from 1."""
    of: int
    failed: int
    """Attempts that reached nobody since the ladder was begun."""
    last_failed: date | None = None
    check_details: bool = False
    """The last attempt found a wrong number, or came back: look for another before the step."""

    @property
    def is_exhausted(self) -> bool:
        """Every step was tried in vain, and a clinician decides."""
        return not self.step.channels


def rung_on(ladder: Ladder, chase: Chase, day: date) -> Rung:
    """The next step for this person, seen from `day`.

    The ladder is begun anew whenever the eye is seen, the person is reached, a place is not attended, or a
    clinician signs what to do. A failed attempt takes the first step not yet taken that its channel serves.
    A step is due on its day after the start, and never sooner after the step before it than the ladder
    says; a day that was agreed or set with the last attempt goes before both.
    """
    tried = _tried(chase)
    start, agreed = _start(chase, tried, day)
    taken: dict[int, AttemptFact] = {}
    for attempt in tried:
        number = _taken_by(ladder, attempt, taken)
        if number is not None:
            taken[number] = attempt
    number = next(n for n, step in enumerate(ladder.steps) if n not in taken)
    last = tried[-1] if tried else None
    due = _due(ladder, chase.shorter, number, start, list(taken.values()))
    if last is not None and last.next_step_on is not None:
        due = last.next_step_on
    elif agreed is not None and not tried:
        due = agreed
    check = last is not None and last.result in (ContactResult.WRONG_NUMBER, ContactResult.RETURNED)
    return Rung(
        step=ladder.steps[number],
        due=due,
        number=number + 1,
        of=len(ladder.steps),
        failed=len(tried),
        last_failed=last.day if last else None,
        check_details=check,
    )


def _since_turn(chase: Chase) -> list[AttemptFact]:
    """Attempts made since the eye was seen, a clinician signed, or a place was not attended."""
    floors = [turn + timedelta(days=1) for turn in (chase.seen_on, chase.settled_on) if turn]
    # A call on the day of the missed visit is the first step after it.
    floor = max([*floors, *([chase.missed_on] if chase.missed_on else [])], default=date.min)
    return [attempt for attempt in chase.attempts if attempt.day >= floor]


def _tried(chase: Chase) -> list[AttemptFact]:
    """The attempts in a row that reached nobody."""
    tried: list[AttemptFact] = []
    for attempt in _since_turn(chase):
        tried = [] if attempt.result.reached else [*tried, attempt]
    return tried


def _start(chase: Chase, tried: Sequence[AttemptFact], day: date) -> tuple[date, date | None]:
    """The day that the ladder counts from, and the day agreed with the person when last reached."""
    reached = [attempt for attempt in _since_turn(chase) if attempt.result.reached]
    if reached:
        return reached[-1].next_step_on or reached[-1].day, reached[-1].next_step_on
    turns = [turn for turn in (chase.seen_on, chase.settled_on) if turn]
    if chase.missed_on and all(turn < chase.missed_on for turn in turns):
        return chase.missed_on, None
    first = [tried[0].day] if tried else []
    begun = min([*first, *([chase.overdue_since] if chase.overdue_since else [])], default=day)
    return max(begun, chase.settled_on or begun), None


def _taken_by(ladder: Ladder, attempt: AttemptFact, taken: Mapping[int, AttemptFact]) -> int | None:
    """The number of the step that this attempt took; what came back took none, it undid one."""
    if attempt.result is ContactResult.RETURNED:
        return None
    return next(
        (n for n, step in enumerate(ladder.steps) if n not in taken and attempt.channel in step.channels),
        None,
    )


def _due(ladder: Ladder, shorter: bool, number: int, start: date, taken: Sequence[AttemptFact]) -> date:
    days = [step.after(shorter) for step in ladder.steps]
    due = start + timedelta(days=days[number])
    if not taken:
        return due
    pause = days[number] - days[number - 1] if number else 0
    return max(due, max(attempt.day for attempt in taken) + timedelta(days=pause))


# Reading


_STEP_KEYS = {"key", "title", "channels", "day", "day_shorter", "by", "script"}
_DECIDE_KEYS = {"title", "day", "day_shorter", "script"}


def parse_ladder(text: str, file: str = "ladder") -> Ladder:
    """The ladder that `text` (TOML) describes. LadderFault names the line, the key and what is allowed."""
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise LadderFault(f"{file}: this is not valid TOML: {fault}.", field="ladder") from fault
    reader = _Reader(text, file)
    reader.check_keys(raw, {"source", "shorter_for", "step", "decide"}, "the file", 1)
    steps = raw.get("step")
    if not isinstance(steps, list) or not steps:
        raise reader.fault(1, "the file", "at least one [[step]] is needed")
    if not isinstance(raw.get("decide"), dict):
        raise reader.fault(1, "the file", "a table [decide] is needed: the ladder ends with a clinician")
    read = [reader.step(table, number) for number, table in enumerate(steps)]
    ladder = Ladder(
        source=reader.text_of(raw, "source", "the file", 1),
        hurries=frozenset(reader.words(raw, "shorter_for", Hurry, "the file", 1)),
        steps=(*read, reader.decide(raw["decide"])),
    )
    reader.check_order(ladder.steps)
    return ladder


@dataclass(frozen=True, slots=True)
class _Reader:
    text: str
    file: str

    def fault(self, line: int, table: str, what: str) -> LadderFault:
        return LadderFault(f"{self.file}, line {line}, {table}: {what}.", field="ladder")

    def line(self, heading: str, number: int = 0) -> int:
        lines = enumerate(self.text.splitlines(), start=1)
        found = [line for line, content in lines if content.partition("#")[0].strip() == heading]
        return found[number] if number < len(found) else 1

    def step(self, table: Any, number: int) -> Step:
        line, name = self.line("[[step]]", number), f"step {number + 1}"
        self.check_keys(table, _STEP_KEYS, name, line)
        channels = self.words(table, "channels", Channel, name, line)
        if not channels:
            raise self.fault(line, name, f"channels: name at least one of {', '.join(Channel.codes())}")
        by = self.words(table, "by", Role, name, line)
        if not by:
            raise self.fault(line, name, "by: name at least one role, or nobody may take the step")
        return Step(
            key=self.text_of(table, "key", name, line),
            title=self.text_of(table, "title", name, line),
            channels=frozenset(channels),
            day=self.number_of(table, "day", name, line),
            day_shorter=self.number_of(table, "day_shorter", name, line),
            by=frozenset(by),
            script=self.text_of(table, "script", name, line),
        )

    def decide(self, table: dict[str, Any]) -> Step:
        line, name = self.line("[decide]"), "decide"
        self.check_keys(table, _DECIDE_KEYS, name, line)
        return Step(
            key="decide",
            title=self.text_of(table, "title", name, line),
            channels=frozenset(),
            day=self.number_of(table, "day", name, line),
            day_shorter=self.number_of(table, "day_shorter", name, line),
            by=frozenset({Role.SURGEON}),
            script=self.text_of(table, "script", name, line),
        )

    def check_keys(self, table: Any, allowed: set[str], name: str, line: int) -> None:
        if not isinstance(table, dict):
            raise self.fault(line, name, "this must be a table")
        if unknown := sorted(set(table) - allowed):
            known = ", ".join(sorted(allowed))
            raise self.fault(line, name, f"{unknown[0]}: unknown key; there are {known}")

    def text_of(self, table: dict[str, Any], key: str, name: str, line: int) -> str:
        value = table.get(key)
        if not isinstance(value, str) or not value.strip():
            raise self.fault(line, name, f"{key}: a text in quotes is needed, found {value!r}")
        return value.strip()

    def number_of(self, table: dict[str, Any], key: str, name: str, line: int) -> int:
        value = table.get(key)
        if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= LONGEST:
            allowed = f"a whole number of days from 0 to {LONGEST} is needed"
            raise self.fault(line, name, f"{key}: {allowed}, found {value!r}")
        return value

    def words(self, table: dict[str, Any], key: str, words: Any, name: str, line: int) -> list[Any]:
        values = table.get(key, [])
        codes = [word.value for word in words]
        if not isinstance(values, list):
            raise self.fault(line, name, f"{key}: a list in square brackets is needed, found {values!r}")
        for value in values:
            if value not in codes:
                raise self.fault(line, name, f"{key}: {value!r} is none of {', '.join(codes)}")
        return [words(value) for value in values]

    def check_order(self, steps: Sequence[Step]) -> None:
        keys = [step.key for step in steps]
        for number, step in enumerate(steps):
            is_last = number == len(steps) - 1
            name = "decide" if is_last else f"step {number + 1}"
            line = self.line("[decide]") if is_last else self.line("[[step]]", number)
            if step.key in keys[:number]:
                raise self.fault(line, name, f"key: {step.key!r} stands twice; each step needs its own")
            if step.day_shorter > step.day:
                raise self.fault(line, name, f"day_shorter: {step.day_shorter} is later than day, {step.day}")
            before = steps[number - 1] if number else None
            if before and (step.day < before.day or step.day_shorter < before.day_shorter):
                raise self.fault(
                    line, name, f"day: the steps must stand in order of their days, {before.title!r} is later"
                )
