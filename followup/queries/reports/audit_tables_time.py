"""Tables of what the curve says at each time, of how much was followed, and the eyes behind their numbers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from followup.domain.words import Clock
from followup.queries.cohort_choice import days_of_months
from followup.queries.cohort_row import CohortRow
from followup.queries.cohorts import Cohort
from followup.queries.reports.audit import AuditReport
from followup.queries.reports.audit_counts import EyeList
from followup.queries.reports.audit_tables import Cell, Line, Table, whole
from followup.queries.reports.audit_words import Rate, tables

_INDEX = "index_"
"""Before the key of a list on the clock of the index operation, where another clock was asked for."""


def rates_table(report: AuditReport) -> Table:
    horizon, in_all = report.choice.horizon, report.events
    caption = f"Free of the event: {_events(report.events_by_horizon)} by {horizon} months"
    if in_all != report.events_by_horizon:
        caption += f", {in_all} in all"
    return _rates(caption, tables(report).rates, "")


def beside_tables(report: AuditReport) -> Iterator[Table]:
    """What stands beside the curve: follow-up, what the lost may hide, the index clock, death first."""
    words = tables(report)
    yield Table(
        "How much follow-up was seen",
        ("Until", "Eyes", "Eye-years seen", "Completeness C", "C*"),
        tuple(
            Line(
                line.label,
                (
                    whole(report.in_curve.eyes, "in_curve"),
                    Cell(line.count),
                    Cell(line.share),
                    Cell(line.limits),
                ),
            )
            for line in words.follow_up
        ),
        f"Median follow-up, reverse Kaplan-Meier: {words.median_follow_up}.",
    )
    if report.bounds.lost:
        yield Table(
            f"What eyes lost before {report.choice.horizon} months may hide",
            ("Supposed", "Eyes", f"Free at {report.choice.horizon} months", "95 % limits"),
            tuple(
                Line(line.label, (whole(report.bounds.lost, "lost"), Cell(line.share), Cell(line.limits)))
                for line in words.if_lost
            ),
        )
    if words.on_index_clock:
        yield _rates("For comparison, from the index operation", words.on_index_clock, _INDEX)
    if words.incidence:
        yield Table(
            "The event, where death may come first (cumulative incidence)",
            ("By", "At risk", "With the event", "Share of all", "95 % limits"),
            tuple(
                Line(
                    line.label,
                    (
                        whole(int(line.count), f"at_risk_{months}"),
                        whole(events, f"recurred_by_{months}"),
                        Cell(line.share),
                        Cell(line.limits),
                    ),
                )
                for months, events, line in zip(
                    report.choice.marks, report.events_by, words.incidence, strict=False
                )
            ),
        )


def time_lists(cohort: Cohort) -> Iterator[EyeList]:
    """Eyes at risk at each time, and those found with the event by then."""
    for months in cohort.choice.marks:
        day = days_of_months(months)
        yield _at_risk(cohort.rows, months, "")
        recurred = [row for row in cohort.rows if row.recurred and row.days is not None and row.days <= day]
        yield EyeList(f"recurred_by_{months}", f"With the event by {months} months", recurred)
    if cohort.choice.clock is not Clock.INDEX:
        for months in cohort.choice.marks:
            yield _at_risk(cohort.from_index, months, _INDEX)


def _at_risk(rows: Sequence[CohortRow], months: int, prefix: str) -> EyeList:
    day = days_of_months(months)
    still = [row for row in rows if row.days is not None and row.days >= day]
    return EyeList(f"{prefix}at_risk_{months}", f"Still at risk at {months} months", still)


def _rates(caption: str, rates: Sequence[Rate], prefix: str) -> Table:
    return Table(
        caption,
        ("Months", "Day", "At risk", "Free", "95 % limits"),
        tuple(
            Line(
                str(rate.months),
                (
                    whole(rate.day),
                    Cell(
                        f"{rate.at_risk} (few)" if rate.few else str(rate.at_risk),
                        f"{prefix}at_risk_{rate.months}" if rate.at_risk else "",
                        is_number=True,
                    ),
                    Cell(rate.free),
                    Cell(rate.limits),
                ),
            )
            for rate in rates
        ),
    )


def _events(number: int) -> str:
    return "1 event" if number == 1 else f"{number} events"
