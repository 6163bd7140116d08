"""Planned milestones and the courses they belong to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from followup.domain.dates.windows import Window
from followup.domain.facts import PathwayId
from followup.domain.fills import Fill
from followup.domain.pathway.definition import EndlessRule
from followup.domain.words import Lane, Mark

_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Milestone:
    """One planned review or removal.

    `period_ends` is the last day on which a visit meets it; None for no end. The mark is what the facts say;
    whether an open milestone is due or missed also depends on the day that is asked about.
    """

    key: str
    title: str
    lane: Lane
    opens: date
    target: date
    closes: date
    period_ends: date | None = None
    one_off: bool = False
    mark: Mark = Mark.OPEN
    met_on: date | None = None

    @property
    def is_unmet(self) -> bool:
        return self.mark is Mark.OPEN

    def period_holds(self, day: date) -> bool:
        return self.opens <= day and (self.period_ends is None or day <= self.period_ends)

    def is_missed(self, day: date) -> bool:
        """Its period is over and nobody met it."""
        return self.is_unmet and self.period_ends is not None and self.period_ends < day

    def met(self, day: date, mark: Mark) -> Milestone:
        return replace(self, mark=mark, met_on=day)


@dataclass(frozen=True, slots=True)
class Course:
    """One eye following one pathway version, from the operation that anchors it."""

    operation_id: int
    anchor: date
    pathway: PathwayId
    chosen_for: str
    """Fingerprint of the facts that chose the pathway."""
    milestones: tuple[Milestone, ...]
    superseded_on: date | None = None
    endless: EndlessRule | None = None

    def milestones_by(self, day: date) -> tuple[Milestone, ...]:
        """The milestones, with endless reviews carried on past `day` if the planned ones run out."""
        if self.endless is None or self.superseded_on is not None:
            return self.milestones
        planned = [m for m in self.milestones if m.lane is Lane.REVIEW and not m.one_off]
        number = sum(m.key.startswith(f"{self.endless.key}-") for m in planned)
        if not planned or planned[-1].opens > day:
            return self.milestones
        more = endless_milestones(self.endless, self.anchor, number, day)
        others = [m for m in self.milestones if m not in planned]
        return (*join_periods(planned, more), *others)


@dataclass(frozen=True, slots=True)
class Plan:
    """What follows from all facts of an eye: its courses, the last of them current, and its fills."""

    courses: tuple[Course, ...]
    fills: tuple[Fill, ...]

    @property
    def current(self) -> Course | None:
        return self.courses[-1] if self.courses else None


def milestone(
    key: str, title: str, lane: Lane, window: Window, ends: date | None = None, *, one_off: bool = False
) -> Milestone:
    return Milestone(key, title, lane, window.opens, window.target, window.closes, ends, one_off)


def endless_milestones(rule: EndlessRule, anchor: date, number: int, day: date) -> list[Milestone]:
    """Endless reviews from `number` on, until one opens after `day`; each ends where the next opens."""
    windows = [rule.window(anchor, number)]
    while windows[-1].opens <= day:
        windows.append(rule.window(anchor, number + len(windows)))
    places = [
        (f"{rule.key}-{place}", f"{rule.title} {place}")
        for place in range(number + 1, number + 1 + len(windows))
    ]
    return reviews(places, windows)


def reviews(places: Sequence[tuple[str, str]], windows: Sequence[Window]) -> list[Milestone]:
    """Reviews of a pathway from keys with titles, and windows.

    Each period runs until the day before the next window opens; the last has no end.
    """
    ends = [window.opens - _DAY for window in windows[1:]]
    return [
        milestone(key, title, Lane.REVIEW, window, end)
        for (key, title), window, end in zip(places, windows, [*ends, None], strict=True)
    ]


def join_periods(first: Sequence[Milestone], then: Sequence[Milestone]) -> list[Milestone]:
    """Both in a row, the period of the last of the first ending where the next opens."""
    last = replace(first[-1], period_ends=then[0].opens - _DAY)
    return [*first[:-1], last, *then]
