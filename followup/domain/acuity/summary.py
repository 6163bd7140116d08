"""Sums up the acuity of many eyes: order first, means apart and by name."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from followup.domain.acuity.convert import decimal_from_logmar, mean_logmar
from followup.domain.acuity.notation import Acuity, Category
from followup.domain.acuity.order import sight_can_be_asked, sight_order
from followup.domain.acuity.substitution import Substitution

Level = Decimal | Category


@dataclass(frozen=True, slots=True)
class SubstitutedMean:
    """A mean that holds numbers for categories. Print `label`, `substituted` and `left_out` beside it."""

    label: str
    source: str
    logmar: Decimal
    substituted: int
    left_out: int


@dataclass(frozen=True, slots=True)
class Summary:
    """n = on_chart + below_chart + missing + no_eye. A level is a logMAR or a category.

    The levels are None when no eye has a place in the order, `chart_mean` when none was read on a chart,
    `substituted_mean` unless a table was chosen and has somebody to average.
    """

    n: int
    on_chart: int
    below_chart: int
    missing: int
    no_eye: int
    worse_quartile: Level | None
    median: Level | None
    better_quartile: Level | None
    chart_mean: Decimal | None
    substituted_mean: SubstitutedMean | None

    @property
    def chart_mean_decimal(self) -> Decimal | None:
        """The mean logMAR as decimal acuity: the geometric mean of the decimals."""
        return None if self.chart_mean is None else decimal_from_logmar(self.chart_mean)


def summarise(readings: Sequence[Acuity | None], *, substitution: Substitution | None = None) -> Summary:
    """Counts, median and quartiles over all eyes in the order of sight; means among chart readings alone.

    None stands for an eye without a reading. Quartiles are definition 2 of Hyndman and Fan, Am Stat
    1996;50:361-5: the mean of two neighbours where the share falls between them. Where not both are chart
    readings it is the worse one, since there is no middle between a category and a number.
    """
    measured = [reading for reading in readings if reading is not None]
    ordered = sorted((reading for reading in measured if sight_can_be_asked(reading)), key=sight_order)
    chart = [reading.logmar for reading in ordered if reading.logmar is not None]
    return Summary(
        n=len(readings),
        on_chart=len(chart),
        below_chart=len(ordered) - len(chart),
        missing=len(readings) - len(measured),
        no_eye=len(measured) - len(ordered),
        worse_quartile=_level(ordered, 1),
        median=_level(ordered, 2),
        better_quartile=_level(ordered, 3),
        chart_mean=mean_logmar(chart) if chart else None,
        substituted_mean=_substituted_mean(ordered, substitution) if substitution else None,
    )


def _level(ordered: list[Acuity], quarters: int) -> Level | None:
    if not ordered:
        return None
    whole, rest = divmod(len(ordered) * quarters, 4)
    if rest:
        return _of(ordered[math.ceil(len(ordered) * quarters / 4) - 1])
    worse, better = ordered[whole - 1], ordered[whole]
    if worse.logmar is not None and better.logmar is not None:
        return mean_logmar([worse.logmar, better.logmar])
    return _of(worse)


def _of(reading: Acuity) -> Level | None:
    return reading.logmar if reading.logmar is not None else reading.category


def _substituted_mean(ordered: list[Acuity], table: Substitution) -> SubstitutedMean | None:
    chart = [reading.logmar for reading in ordered if reading.logmar is not None]
    below = [table.value_for(reading) for reading in ordered if reading.logmar is None]
    given = [value for value in below if value is not None]
    if not chart and not given:
        return None
    mean = mean_logmar(chart + given)
    return SubstitutedMean(table.label, table.source, mean, len(given), len(below) - len(given))
