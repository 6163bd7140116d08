"""Every figure of an audit by name, in words as the page shows it; the curve also to the last digit."""

from __future__ import annotations

from collections.abc import Iterator

from followup.queries.reports.audit import AuditReport
from followup.queries.reports.audit_sections import sections
from followup.queries.reports.audit_tables import Table
from followup.queries.reports.audit_whole import WholeAudit
from followup.queries.reports.audit_words import tables

Figures = dict[str, str]


def figures_of(whole: WholeAudit) -> Figures:
    """Names are unique: heading of the table, line and column."""
    return dict([*_of_curve(whole.report), *_of_words(whole.report), *_of_tables(whole)])


def _of_curve(report: AuditReport) -> Iterator[tuple[str, str]]:
    """As floating point writes them, so that two that differ anywhere look different."""
    for mark in report.marks:
        point = mark.point
        numbers = f"{point.survival}, error {point.std_error}, limits {point.lower} to {point.upper}"
        yield f"Curve, {mark.months} months, all digits", numbers


def _of_words(report: AuditReport) -> Iterator[tuple[str, str]]:
    words = tables(report)
    yield "Median time free of the event", words.median_free
    yield "Median follow-up", words.median_follow_up


def _of_tables(whole: WholeAudit) -> Iterator[tuple[str, str]]:
    shown = sections(whole)
    for table in (shown.flow, shown.rates, *shown.curve, *shown.beside):
        yield from _cells(table)
    for section in shown.rest:
        for table in section.tables:
            yield from _cells(table)


def _cells(table: Table) -> Iterator[tuple[str, str]]:
    for line in table.lines:
        for column, cell in zip(table.head[1:], line.cells, strict=True):
            yield f"{_name(table)}, {line.label}, {column}", cell.text


def _name(table: Table) -> str:
    """The heading without the numbers that follow its colon."""
    return table.caption.partition(":")[0]
