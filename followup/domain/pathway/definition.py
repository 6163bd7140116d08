"""A pathway as data: when it applies, its milestones, and whether reviews go on without end.

Read from TOML. A fault names the file, the table with its line, the key, the value and what is allowed.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from typing import Annotated, NoReturn, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, model_validator

from followup.domain.dates.durations import Duration
from followup.domain.dates.windows import Window
from followup.domain.errors import BadValue
from followup.domain.facts import PathwayId
from followup.domain.words import Indication, Lane, Procedure, Repeat, TamponadeKind


class PathwayFault(BadValue):
    """A pathway file that cannot be accepted."""

    code = "pathway"


def _duration(value: object) -> Duration:
    if isinstance(value, Duration):
        return value
    if not isinstance(value, str):
        raise ValueError('a length of time is written in quotes, such as "P1M"')
    try:
        return Duration.parse(value)
    except BadValue as fault:
        raise ValueError(fault.message) from fault


Interval = Annotated[Duration, BeforeValidator(_duration)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


class Condition(_Table):
    """All that is said must hold; what is not said does not matter. Lists mean 'any of'."""

    tamponade: tuple[TamponadeKind, ...] = ()
    """What is in the eye after the operation."""
    removed: tuple[TamponadeKind, ...] = ()
    """What the operation took out."""
    indication: tuple[Indication, ...] = ()
    procedure: tuple[Procedure, ...] = ()
    repeat: Repeat | None = None
    axial_length_at_least: float | None = None
    axial_length_below: float | None = None
    staphyloma: bool | None = None
    only_eye: bool | None = None
    age_at_least: int | None = None
    age_below: int | None = None


class MilestoneRule(_Table):
    """One planned review or removal.

    A review has offset, early and late. A removal has opens and closes, both counted from the fill, or from
    the first insertion of an unbroken stay.
    """

    key: str = Field(min_length=1, max_length=40, pattern=r"^[A-Za-z0-9][A-Za-z0-9-]*$")
    title: str = Field(min_length=1, max_length=120)
    lane: Lane = Lane.REVIEW
    offset: Interval | None = None
    early: Interval = Duration()
    late: Interval = Duration()
    opens: Interval | None = None
    closes: Interval | None = None
    counts_from: str = Field(default="fill", pattern=r"^(fill|first-insertion)$")
    look_at: str = ""

    @model_validator(mode="after")
    def _lane_has_its_fields(self) -> Self:
        if self.lane is Lane.REVIEW and (self.offset is None or self.opens or self.closes):
            raise ValueError("a review has offset, early and late, and neither opens nor closes")
        if self.lane is Lane.REMOVAL and (self.opens is None or self.closes is None or self.offset):
            raise ValueError("a removal has opens and closes, and no offset")
        return self

    def window(self, anchor: date) -> Window:
        """The window counted from `anchor`: the operation for a review, the fill for a removal."""
        if self.offset is not None:
            return Window.around(anchor, self.offset, self.early, self.late)
        assert self.opens is not None
        assert self.closes is not None
        return Window.between(anchor, self.opens, self.opens, self.closes)


class EndlessRule(_Table):
    """Reviews that go on every so often after the last milestone, counted from the anchor."""

    key: str = Field(min_length=1, max_length=20, pattern=r"^[A-Za-z0-9][A-Za-z0-9-]*$")
    title: str = Field(min_length=1, max_length=100)
    every: Interval
    first: Interval
    early: Interval = Duration()
    late: Interval = Duration()
    look_at: str = ""

    @model_validator(mode="after")
    def _moves_on(self) -> Self:
        start = date(2001, 1, 1)
        if not start < self.every.add_to(start):
            raise ValueError("every must be longer than nothing")
        return self

    def window(self, anchor: date, number: int) -> Window:
        """The window of the review `number` (0 is the first), counted from the anchor, never chained."""
        offset = Duration(
            years=self.first.years + number * self.every.years,
            months=self.first.months + number * self.every.months,
            days=_days(self.first) + number * _days(self.every),
        )
        return Window.around(anchor, offset, self.early, self.late)


def _days(duration: Duration) -> int:
    return 7 * duration.weeks + duration.days


class PathwayDefinition(_Table):
    key: str = Field(pattern=r"^[a-z0-9][a-z0-9-]*$", max_length=60)
    version: int = Field(ge=1)
    title: str = Field(min_length=1, max_length=120)
    source: str = Field(min_length=1)
    priority: int = 0
    fallback: bool = False
    applies: tuple[Condition, ...] = ()
    milestone: tuple[MilestoneRule, ...]
    endless: EndlessRule | None = None

    @property
    def id(self) -> PathwayId:
        return PathwayId(self.key, self.version)

    @property
    def reviews(self) -> tuple[MilestoneRule, ...]:
        return tuple(rule for rule in self.milestone if rule.lane is Lane.REVIEW)

    @property
    def removal(self) -> MilestoneRule | None:
        return next((rule for rule in self.milestone if rule.lane is Lane.REMOVAL), None)


@dataclass(frozen=True, slots=True)
class _Lines:
    """Finds the line of a table or key, since the TOML reader does not say."""

    text: str

    def table(self, name: str, number: int) -> int:
        headings = (f"[[{name}]]", f"[{name}]")
        found = [
            line
            for line, content in enumerate(self.text.splitlines(), start=1)
            if content.strip() in headings
        ]
        return found[number] if number < len(found) else 1


def parse_pathway(text: str, file: str = "pathway") -> PathwayDefinition:
    """The pathway that `text` (TOML) describes, checked whole. Raises PathwayFault with every fault found."""
    definition = _read(text, file)
    _check_whole(definition, text, file)
    return definition


@lru_cache(maxsize=256)
def accepted_pathway(text: str) -> PathwayDefinition:
    """A stored version, which was checked whole when it was accepted."""
    return _read(text, "stored pathway")


def _read(text: str, file: str) -> PathwayDefinition:
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise PathwayFault(f"{file}: this is not valid TOML: {fault}.") from fault
    try:
        return PathwayDefinition.model_validate(raw)
    except ValidationError as fault:
        raise PathwayFault("\n".join(_faults(fault, text, file))) from fault


def _faults(fault: ValidationError, text: str, file: str) -> Iterable[str]:
    lines = _Lines(text)
    for error in fault.errors(include_url=False):
        table, line, keys = _table([str(part) for part in error["loc"]], lines)
        value = error.get("input")
        shown = "" if isinstance(value, dict) else f" is {value!r}"
        key = ".".join(keys) or "this table"
        reason = error["msg"].removeprefix("Value error, ").removesuffix(".")
        yield f"{file}, line {line}, {table}: {key}{shown}: {reason}."


def _table(place: list[str], lines: _Lines) -> tuple[str, int, list[str]]:
    """The table a fault lies in, its line, and the keys below it."""
    match place:
        case [name, number, *keys] if number.isdigit():
            return f"{name} {int(number) + 1}", lines.table(name, int(number)), keys
        case ["endless", *keys]:
            return "endless", lines.table("endless", 0), keys
    return "the file", 1, place


def _check_whole(definition: PathwayDefinition, text: str, file: str) -> None:
    lines = _Lines(text)

    def refuse(number: int, what: str) -> NoReturn:
        line = lines.table("milestone", number)
        raise PathwayFault(f"{file}, line {line}, milestone {number + 1}: {what}")

    def refuse_endless(what: str) -> NoReturn:
        raise PathwayFault(f"{file}, line {lines.table('endless', 0)}, endless: {what}")

    if not definition.reviews:
        raise PathwayFault(f"{file}: milestone: a pathway needs at least one review.")
    if not definition.fallback and not definition.applies:
        raise PathwayFault(f"{file}: applies: say when this pathway applies, or set fallback = true.")
    keys = [rule.key for rule in definition.milestone]
    for number, key in enumerate(keys):
        if key in keys[:number]:
            refuse(number, f"key {key!r} stands twice; each milestone needs its own.")
    if sum(rule.lane is Lane.REMOVAL for rule in definition.milestone) > 1:
        raise PathwayFault(f"{file}: milestone: there may be one removal; this file has more.")
    # Four years hold every month end and a leap day.
    for days in range(4 * 365 + 1):
        anchor = date(2023, 3, 1) + timedelta(days=days)
        last = _check_windows(definition.milestone, anchor, refuse)
        if definition.endless:
            _check_endless(definition.endless, anchor, last, refuse_endless)


def _check_windows(
    rules: Iterable[MilestoneRule], anchor: date, refuse: Callable[[int, str], NoReturn]
) -> date:
    """The day the last review opens. All windows must be sound; reviews open in order, never two on a day."""
    opened = anchor
    for number, rule in enumerate(rules):
        try:
            opens = rule.window(anchor).opens
        except BadValue as fault:
            refuse(number, f"key {rule.key!r}, from {anchor}: {fault.message}")
        if rule.lane is Lane.REMOVAL:
            continue
        if opens <= opened:
            refuse(
                number,
                f"key {rule.key!r} opens on {opens} when counted from {anchor}; it must open after "
                f"{opened}, when the one before it (or the operation) does.",
            )
        opened = opens
    return opened


def _check_endless(rule: EndlessRule, anchor: date, last: date, refuse: Callable[[str], NoReturn]) -> None:
    try:
        opens = rule.window(anchor, 0).opens
    except BadValue as fault:
        refuse(f"from {anchor}: {fault.message}")
    if opens <= last:
        refuse(
            f"the endless reviews start on {opens} when counted from {anchor}, not after the last "
            f"milestone ({last})."
        )
