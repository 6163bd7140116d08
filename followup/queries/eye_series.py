"""Acuity, pressure and fills of one eye over time, as plain numbers for its figure."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from followup.domain.words import Correction
from followup.models import AcuityReading, Exam, Eye, Fill, Operation

BELOW_CHART = {
    "counting_fingers": "CF",
    "hand_movements": "HM",
    "light_perception": "LP",
    "no_light_perception": "NLP",
}
"""Ordered from best to worst, as the figure writes them under the chart."""

_PREFERRED = [
    Correction.BEST,
    Correction.PINHOLE,
    Correction.HABITUAL,
    Correction.UNAIDED,
    Correction.UNKNOWN,
]


@dataclass(frozen=True, slots=True)
class Point:
    """One reading: logMAR, or the short name of its place below the chart."""

    day: date
    logmar: float | None
    below: str = ""
    corrected: bool = False
    """Best corrected; any other reading is drawn hollow."""


@dataclass(frozen=True, slots=True)
class Band:
    label: str
    begins: date
    ends: date
    is_open: bool


@dataclass(frozen=True, slots=True)
class EyeSeries:
    side: str
    first: date
    last: date
    acuity: tuple[Point, ...]
    pressure: tuple[tuple[date, int], ...]
    fills: tuple[Band, ...]
    operations: tuple[date, ...]

    @property
    def is_empty(self) -> bool:
        return not self.acuity and not self.pressure


def eye_series(eye: Eye, day: date) -> EyeSeries:
    """The best reading of each visit in a fixed order of corrections, pressures, and fills up to `day`."""
    exams = Exam.objects.filter(eye=eye, visit__in_error=False).select_related("visit")
    ordered = list(exams.prefetch_related("acuities").order_by("visit__day", "id"))
    operations = Operation.objects.filter(eye=eye, in_error=False).order_by("date", "id")
    operated = tuple(operations.values_list("date", flat=True))
    points = [point for exam in ordered if (point := _point(exam)) is not None]
    seen = [exam.visit.day for exam in ordered]
    first = min([*operated, *seen], default=day)
    return EyeSeries(
        side=eye.get_side_display(),
        first=first,
        last=max(day, first),
        acuity=tuple(points),
        pressure=tuple((e.visit.day, e.pressure_mmhg) for e in ordered if e.pressure_mmhg is not None),
        fills=tuple(_band(fill, day) for fill in Fill.objects.filter(eye=eye).order_by("placed_on", "id")),
        operations=operated,
    )


def _point(exam: Exam) -> Point | None:
    readings = {reading.correction: reading for reading in exam.acuities.all()}
    best = next((readings[word.value] for word in _PREFERRED if word.value in readings), None)
    return _as_point(exam.visit.day, best) if best else None


def _as_point(day: date, reading: AcuityReading) -> Point | None:
    corrected = reading.correction == Correction.BEST
    if reading.logmar is not None:
        return Point(day, float(reading.logmar), corrected=corrected)
    below = BELOW_CHART.get(reading.category)
    return Point(day, None, below, corrected) if below else None


def _band(fill: Fill, day: date) -> Band:
    ends = fill.ended_on or max(day, fill.placed_on)
    return Band(fill.get_tamponade_display(), fill.placed_on, ends, fill.ended_on is None)
