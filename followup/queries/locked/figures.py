"""Every figure of an audit by name, in words as the page shows it; the curve also to the last digit."""

from __future__ import annotations

from collections.abc import Iterator

from followup.queries.reports.audit import AuditReport
from followup.queries.reports.audit_sections import sections
from followup.queries.reports.audit_tables import Table
from followup.queries.reports.audit_whole import WholeAudit
from followup.queries.reports.audit_words import Line, Rate, tables

Figures = dict[str, str]


def figures_of(whole: WholeAudit) -> Figures:
    """Names are unique: heading of the table, line and column."""
    return dict([*_of_curve(whole.report), *_of_words(whole.report), *_of_tables(whole)])


def _of_curve(report: AuditReport) -> Iterator[tuple[str, str]]:
    """As floating point writes them, so that two that differ anywhere look different."""
    for mark in report.marks:
        point = mark.point
        numbers = (point.survival, point.std_error, point.lower, point.upper)
        yield f"Curve, {mark.months} months, all digits", " ".join(map(str, numbers))


def _of_words(report: AuditReport) -> Iterator[tuple[str, str]]:
    words = tables(report)
    for caption, rates in (("Free of the event", words.rates), ("On the index clock", words.on_index_clock)):
        for rate in rates:
            yield f"{caption}, {rate.months} months", _rate(rate)
    yield "Median time free of the event", words.median_free
    yield "Median follow-up", words.median_follow_up
    for caption, lines in (
        ("How much follow-up was seen", words.follow_up),
        ("What eyes lost may hide", words.if_lost),
        ("Recurrence, where death may come first", words.incidence),
    ):
        for line in lines:
            yield f"{caption}, {line.label}", _line(line)


def _rate(rate: Rate) -> str:
    return f"{rate.free} ({rate.limits}), {rate.at_risk} at risk"


def _line(line: Line) -> str:
    return ", ".join(part for part in (line.count, line.share, line.limits) if part)


def _of_tables(whole: WholeAudit) -> Iterator[tuple[str, str]]:
    shown = sections(whole)
    yield from _cells(shown.flow)
    for table in shown.curve:
        yield from _cells(table)
    for section in shown.rest:
        for table in section.tables:
            yield from _cells(table)


def _cells(table: Table) -> Iterator[tuple[str, str]]:
    for line in table.lines:
        for column, cell in zip(table.head[1:], line.cells, strict=True):
            yield f"{table.caption}, {line.label}, {column}", cell.text
