"""A cohort quarter by quarter: recurrence within six months and oil out in time, against chance alone.

An eye belongs to the quarter in which its clock started, oil to that in which its removal window closed.
Limits are those of the share of all quarters together, exact and for each quarter's own number of eyes.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import Enum

from followup.domain.survival.binomial import Proportion, clopper_pearson
from followup.domain.survival.control import ACTION, WARNING, Excess, Range, expected_range, running_excess
from followup.domain.survival.values import NOT_ESTIMABLE, Figure
from followup.queries.cohort_row import CohortRow
from followup.queries.cohort_times import TIMES
from followup.queries.cohorts import Cohort
from followup.queries.reports.audit_counts import EyeList
from followup.queries.reports.audit_oil import closed_windows, is_set_apart

SIX_MONTHS = next(time for time in TIMES if time.months == 6)


class Signal(Enum):
    """Where a quarter's share lies."""

    TOO_EARLY = "too early to judge"
    NOTHING = "no eye to judge"
    WITHIN = "within the limits of chance"
    WARNING = "outside the 95 % limits"
    ACTION = "outside the 99.8 % limits"


@dataclass(frozen=True, slots=True, order=True)
class Quarter:
    year: int
    number: int

    @classmethod
    def of(cls, day: date) -> Quarter:
        return cls(day.year, (day.month + 2) // 3)

    @property
    def last(self) -> date:
        return self.next.first - timedelta(days=1)

    @property
    def first(self) -> date:
        return date(self.year, 3 * self.number - 2, 1)

    @property
    def next(self) -> Quarter:
        return Quarter(self.year + self.number // 4, self.number % 4 + 1)

    def __str__(self) -> str:
        return f"Q{self.number} {self.year}"


@dataclass(frozen=True, slots=True)
class Point:
    """One quarter. `warning` and `action` are ranges of counts among the eyes judged, None without them."""

    quarter: Quarter
    share: Proportion
    left_out: int
    """Eyes of the quarter that are not judged."""
    warning: Range | None
    action: Range | None
    signal: Signal

    @property
    def reading(self) -> str:
        """The signal in words, and to which side."""
        if self.warning is None or self.signal is Signal.WITHIN:
            return self.signal.value
        side = "above" if self.share.events > self.warning.upper else "below"
        return f"{side}, {self.signal.value}"


@dataclass(frozen=True, slots=True)
class Chart:
    """`centre`: the share of all quarters that can be judged, taken together."""

    centre: Figure
    points: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Monitoring:
    recurrence: Chart
    oil: Chart
    excess: tuple[Excess, ...]
    """One step an eye in the order of their starts; empty where the clinic set no expected rate."""
    expected: float | None


@dataclass(frozen=True, slots=True)
class _Sorted:
    """The eyes of one quarter: with the event, judged, and not judged."""

    events: list[CohortRow]
    judged: list[CohortRow]
    left_out: list[CohortRow]


def monitoring(cohort: Cohort, *, expected_percent: float | None) -> Monitoring:
    """`expected_percent`: recurrence within six months that the clinic measures itself against."""
    lock = cohort.choice.lock
    recurrence, oil = _recurrence(cohort), _oil(cohort)
    share = None if expected_percent is None else expected_percent / 100
    ripe = [
        row for quarter, told in recurrence.items() if _six_months_past(quarter, lock) for row in told.judged
    ]
    in_order = sorted(ripe, key=lambda row: (row.start or row.index_date, row.code))
    return Monitoring(
        recurrence=_chart(recurrence, lambda quarter: _six_months_past(quarter, lock)),
        oil=_chart(oil, lambda quarter: quarter.last <= lock),
        excess=() if share is None else running_excess(map(_recurred_in_time, in_order), share),
        expected=share,
    )


def lists(cohort: Cohort) -> Iterable[EyeList]:
    """The eyes behind each number of both charts."""
    names = (("events", "recurred within six months"), ("left_out", "not known at six months"))
    yield from _lists("six_months", "Started", _recurrence(cohort), (names[0], ("judged", "known"), names[1]))
    kinds = (("events", "out in time"), ("judged", "judged"), ("left_out", "kept by a decision"))
    yield from _lists("oil_limit", "Removal window closed", _oil(cohort), kinds)


def key_of(chart: str, quarter: Quarter, part: str) -> str:
    """Of a list of eyes: `chart` is six_months or oil_limit, `part` events, judged or left_out."""
    return f"{chart}_{quarter.year}q{quarter.number}_{part}"


def _lists(
    chart: str, what: str, told: dict[Quarter, _Sorted], parts: Sequence[tuple[str, str]]
) -> Iterable[EyeList]:
    for quarter, eyes in told.items():
        for part, words in parts:
            yield EyeList(key_of(chart, quarter, part), f"{what} {quarter}, {words}", getattr(eyes, part))


def _recurrence(cohort: Cohort) -> dict[Quarter, _Sorted]:
    """Judged: recurred by six months, or seen without it at the six months' visit or later."""
    told: defaultdict[Quarter, _Sorted] = defaultdict(lambda: _Sorted([], [], []))
    for row in cohort.rows:
        if row.days is None or row.start is None:
            continue
        eyes = told[Quarter.of(row.start)]
        recurred = _recurred_in_time(row)
        is_known = recurred or row.days >= SIX_MONTHS.opens
        (eyes.judged if is_known else eyes.left_out).append(row)
        if recurred:
            eyes.events.append(row)
    return _without_gaps(told)


def _recurred_in_time(row: CohortRow) -> bool:
    return row.recurred and row.days is not None and row.days <= SIX_MONTHS.day


def _oil(cohort: Cohort) -> dict[Quarter, _Sorted]:
    told: defaultdict[Quarter, _Sorted] = defaultdict(lambda: _Sorted([], [], []))
    for row, stay in closed_windows(cohort):
        eyes = told[Quarter.of(stay.limit)]
        (eyes.left_out if is_set_apart(stay) else eyes.judged).append(row)
        if not stay.was_late:
            eyes.events.append(row)
    return _without_gaps(told)


def _without_gaps(told: dict[Quarter, _Sorted]) -> dict[Quarter, _Sorted]:
    """In order, with the quarters in between in which there was nobody."""
    filled: dict[Quarter, _Sorted] = {}
    quarter = min(told, default=None)
    while quarter is not None and quarter <= max(told):
        filled[quarter] = told.get(quarter, _Sorted([], [], []))
        quarter = quarter.next
    return filled


def _six_months_past(quarter: Quarter, lock: date) -> bool:
    """Could every eye of the quarter have come to its six months' visit?"""
    return quarter.last + timedelta(days=SIX_MONTHS.closes) <= lock


def _chart(told: dict[Quarter, _Sorted], is_ripe: Callable[[Quarter], bool]) -> Chart:
    ripe = [eyes for quarter, eyes in told.items() if is_ripe(quarter)]
    total = sum(len(eyes.judged) for eyes in ripe)
    centre: Figure = sum(len(eyes.events) for eyes in ripe) / total if total else NOT_ESTIMABLE
    return Chart(
        centre, tuple(_point(quarter, eyes, centre, is_ripe(quarter)) for quarter, eyes in told.items())
    )


def _point(quarter: Quarter, eyes: _Sorted, centre: Figure, is_ripe: bool) -> Point:
    events, total = len(eyes.events), len(eyes.judged)
    share = clopper_pearson(events, total)
    if not is_ripe or centre is NOT_ESTIMABLE or not total:
        signal = Signal.NOTHING if is_ripe else Signal.TOO_EARLY
        return Point(quarter, share, len(eyes.left_out), None, None, signal)
    warning, action = (expected_range(total, centre, level=level) for level in (WARNING, ACTION))
    return Point(quarter, share, len(eyes.left_out), warning, action, _signal(events, warning, action))


def _signal(events: int, warning: Range, action: Range) -> Signal:
    if not action.holds(events):
        return Signal.ACTION
    return Signal.WITHIN if warning.holds(events) else Signal.WARNING
