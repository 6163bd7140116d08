"""The report as lines of words and numbers, the same on the page and in the text beside the drawing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from followup.domain.survival.kaplan_meier import Quantile
from followup.domain.survival.values import Moment, Unknown
from followup.queries.cohort_choice import DAYS_A_MONTH
from followup.queries.reports.audit import AuditReport
from followup.queries.reports.audit_curve import Mark
from followup.queries.reports.audit_tables import BEYOND, limits, percent, point_words


@dataclass(frozen=True, slots=True)
class Rate:
    months: int
    day: int
    at_risk: int
    free: str
    limits: str
    few: bool
    """Fewer at risk than the curve is drawn for."""


@dataclass(frozen=True, slots=True)
class Fall:
    """A row of the table beside the drawing: a day on which the curve falls, or its end."""

    day: int
    months: str
    at_risk: int
    events: int
    last_seen: int
    """Eyes last seen free of the event since the row above."""
    free: str
    limits: str


@dataclass(frozen=True, slots=True)
class Line:
    """A label, so many of so many, a share and its limits."""

    label: str
    count: str
    share: str
    limits: str


@dataclass(frozen=True, slots=True)
class Tables:
    rates: tuple[Rate, ...]
    on_index_clock: tuple[Rate, ...]
    falls: tuple[Fall, ...]
    median_free: str
    median_follow_up: str
    follow_up: tuple[Line, ...]
    if_lost: tuple[Line, ...]
    incidence: tuple[Line, ...]
    summary: str
    under_the_curve: str
    """The median, and how far the curve is drawn."""


def tables(report: AuditReport) -> Tables:
    rates = tuple(_rate(mark, report) for mark in report.marks if mark.months)
    return Tables(
        rates=rates,
        on_index_clock=tuple(_rate(mark, report) for mark in report.on_index_clock),
        falls=tuple(_falls(report)),
        median_free=_quantile(report.median_free),
        median_follow_up=_quantile(report.median_follow_up),
        follow_up=tuple(_follow_up(report)),
        if_lost=tuple(_if_lost(report)),
        incidence=tuple(_incidence(report)),
        summary=_summary(report, rates),
        under_the_curve=_under_the_curve(report),
    )


def _rate(mark: Mark, report: AuditReport) -> Rate:
    point = mark.point
    free, band = point_words(point, nobody=not report.in_curve.eyes)
    return Rate(mark.months, mark.day, point.at_risk, free, band, 0 < point.at_risk < report.minimum_at_risk)


def _falls(report: AuditReport) -> Iterator[Fall]:
    if report.drawn_until is None:
        return
    unseen = 0
    shown = [step for step in report.steps if step.day <= report.drawn_until]
    for place, step in enumerate(shown):
        unseen += step.censored
        if step.events or place == len(shown) - 1:
            months = f"{step.day / DAYS_A_MONTH:.1f}"
            free = percent(step.survival)
            band = limits(step.lower, step.upper) if step.survival < 1 else str(Unknown.NOT_ESTIMABLE)
            yield Fall(step.day, months, step.at_risk, step.events, unseen, free, band)
            unseen = 0


def _quantile(found: Quantile) -> str:
    if isinstance(found.time, Unknown):
        return str(found.time)
    return f"{_months(found.time)}; limits {_months(found.lower)} to {_months(found.upper)}"


def _months(moment: Moment) -> str:
    if isinstance(moment, Unknown):
        return str(moment)
    return f"{moment / DAYS_A_MONTH:.1f} months ({moment:g} days)"


def _follow_up(report: AuditReport) -> Iterator[Line]:
    for seen in report.follow_up:
        done = seen.completeness
        yield Line(
            label=seen.until,
            count=f"{done.observed / 365.25:.1f} of {done.potential / 365.25:.1f} years",
            share=percent(done.clark),
            limits=percent(done.corrected),
        )


def _if_lost(report: AuditReport) -> Iterator[Line]:
    asked = report.bounds
    for label, point in (
        ("If every one of them had the event when last seen", asked.all_recurred),
        ("If none of them had the event by the horizon", asked.none_recurred),
    ):
        free, band = point_words(point, nobody=not report.in_curve.eyes)
        yield Line(label, "", free, band)


def _incidence(report: AuditReport) -> Iterator[Line]:
    for months, point in zip(report.choice.marks, report.incidence, strict=False):
        beyond = isinstance(point.incidence, Unknown)
        yield Line(
            label=f"{months} months",
            count=str(point.at_risk),
            share=BEYOND if beyond else percent(point.incidence),
            limits="" if beyond else limits(point.lower, point.upper),
        )


def _summary(report: AuditReport, rates: tuple[Rate, ...]) -> str:
    """What the drawing shows, for those who do not see it."""
    read = ", ".join(f"at {rate.months} months {rate.free}" for rate in rates)
    return (
        f"Kaplan-Meier curve of {report.in_curve.eyes} eyes of {report.in_curve.patients} patients. "
        f"Free of the event: {read}. The tables below hold the same numbers."
    )


def _under_the_curve(report: AuditReport) -> str:
    median = f"Median time free of the event: {_quantile(report.median_free)}."
    if not report.is_cut_short:
        return median
    where = (
        ", which here is everywhere" if report.drawn_until is None else f": beyond day {report.drawn_until}"
    )
    few = f"fewer than {report.minimum_at_risk} eyes remain at risk"
    return f"{median} The curve is not drawn where {few}{where}."
