"""Sight before the operation and at each time after it, and how it changed.

Order first: medians and quartiles over all eyes, those below the chart among them; a mean only of changes
between two readings on a chart. A reading through gas or oil is counted and is in no other figure.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from followup.domain.acuity.change import Change, Direction, NotCompared, Reading, change
from followup.domain.acuity.notation import Category
from followup.domain.acuity.summary import Summary, summarise
from followup.domain.survival.mean import Mean, mean
from followup.queries.cohort_choice import CohortChoice, Errors
from followup.queries.cohort_row import CohortRow
from followup.queries.cohort_times import LABELS, TIMES
from followup.queries.cohorts import Cohort
from followup.queries.reports.audit_counts import EyeList, Rows, Share


@dataclass(frozen=True, slots=True)
class SightAt:
    """Sight at one time. `clear`: read without gas or oil; clear + through + missing = all eyes."""

    label: str
    clear: EyeList
    through: EyeList
    missing: EyeList
    levels: Summary
    """Of the clear readings."""
    categories: tuple[tuple[Category, int], ...]
    """Below the chart, among the clear readings."""


@dataclass(frozen=True, slots=True)
class ChangeAt:
    """Change since before the operation. compared + below + those not compared = all eyes read at both."""

    label: str
    read_at_both: int
    compared: EyeList
    gain: Mean
    """logMAR before minus after: positive is better."""
    by_lines: tuple[EyeList, ...]
    """Gained three lines or more, within, lost three or more: together those compared."""
    below_chart: tuple[EyeList, ...]
    """One of the two below the chart: better, same or worse by order alone."""
    not_compared: tuple[EyeList, ...]
    missing: EyeList
    """Without a reading before, or at the time."""

    @property
    def shares(self) -> tuple[Share, ...]:
        return tuple(part.among(len(self.compared.rows)) for part in self.by_lines)


@dataclass(frozen=True, slots=True)
class AcuityReport:
    sight: tuple[SightAt, ...]
    change: tuple[ChangeAt, ...]


_KEYS = ("before", *(str(time.months) for time in TIMES))


def acuity(cohort: Cohort) -> AcuityReport:
    rows, known = cohort.rows, _Known()
    return AcuityReport(
        sight=tuple(_sight_at(rows, place) for place in range(len(LABELS))),
        change=tuple(_change_at(rows, place, cohort.choice, known) for place in range(1, len(LABELS))),
    )


def lists(report: AcuityReport) -> Iterator[EyeList]:
    for sight in report.sight:
        yield from (sight.clear, sight.through, sight.missing)
    for changed in report.change:
        yield from (changed.compared, changed.missing, *changed.by_lines)
        yield from (*changed.below_chart, *changed.not_compared)


def _sight_at(rows: Rows, place: int) -> SightAt:
    label, key = LABELS[place], _KEYS[place]
    clear: list[CohortRow] = []
    through: list[CohortRow] = []
    missing: list[CohortRow] = []
    readings: list[Reading] = []
    for row in rows:
        reading = row.sight[place]
        if reading is None:
            missing.append(row)
        elif reading.tamponade_seen:
            through.append(row)
        else:
            clear.append(row)
            readings.append(reading)
    found = Counter(reading.acuity.category for reading in readings)
    return SightAt(
        label=label,
        clear=EyeList(f"sight_{key}_read", f"{label}: acuity read without gas or oil", clear),
        through=EyeList(f"sight_{key}_through", f"{label}: acuity read through gas or oil", through),
        missing=EyeList(f"sight_{key}_missing", f"{label}: no acuity on record", missing),
        levels=summarise([reading.acuity for reading in readings]),
        categories=tuple((category, found[category]) for category in Category if found[category]),
    )


_LINES = ("gained", "within", "lost")
_LINE_LABELS = ("gained three lines or more", "within three lines", "lost three lines or more")


class _Sorted:
    """Rows by what a comparison came to."""

    def __init__(self) -> None:
        self.lines: dict[str, list[CohortRow]] = {name: [] for name in _LINES}
        self.gains: list[float] = []
        self.compared: list[CohortRow] = []
        self.below: dict[Direction, list[CohortRow]] = {direction: [] for direction in Direction}
        self.reasons: dict[NotCompared, list[CohortRow]] = {reason: [] for reason in NotCompared}
        self.missing: list[CohortRow] = []

    def add(self, row: CohortRow, found: Change) -> None:
        if found.gain is not None:
            self.compared.append(row)
            self.gains.append(float(found.gain))
            self.lines[_line(found)].append(row)
        elif found.direction is not None:
            self.below[found.direction].append(row)
        elif found.reason is not None:
            self.reasons[found.reason].append(row)


def _line(found: Change) -> str:
    if found.three_lines_or_more_gained:
        return "gained"
    return "lost" if found.three_lines_or_more_lost else "within"


class _Known(dict[tuple[int, int], Change]):
    """Changes by their two readings. The same words give the same object (cohort_facts.reading_of), so there
    are far fewer pairs than eyes."""

    def between(self, before: Reading, after: Reading) -> Change:
        pair = (id(before), id(after))
        found = self.get(pair)
        if found is None:
            found = self[pair] = change(before, after)
        return found


def _change_at(rows: Rows, place: int, choice: CohortChoice, known: _Known) -> ChangeAt:
    label, key = LABELS[place], _KEYS[place]
    found = _Sorted()
    for row in rows:
        before, after = row.sight[0], row.sight[place]
        if before is None or after is None:
            found.missing.append(row)
            continue
        found.add(row, known.between(before, after))

    def part(name: str, words: str, some: Sequence[CohortRow]) -> EyeList:
        return EyeList(f"change_{key}_{name}", f"{label}: {words}", some)

    patients = [row.patient_code for row in found.compared] if choice.errors is Errors.PATIENTS else None
    return ChangeAt(
        label=label,
        read_at_both=len(rows) - len(found.missing),
        compared=part("compared", "acuity compared with that before", found.compared),
        gain=mean(found.gains, cluster=patients),
        by_lines=tuple(
            part(name, words, found.lines[name]) for name, words in zip(_LINES, _LINE_LABELS, strict=True)
        ),
        below_chart=tuple(
            part(f"order_{direction.value}", f"{direction.value}, at least once below the chart", some)
            for direction, some in found.below.items()
        ),
        not_compared=tuple(
            part(reason.name.lower(), f"not compared: {reason.value}", some)
            for reason, some in found.reasons.items()
            if some
        ),
        missing=part("missing", "no reading before, or none then", found.missing),
    )
