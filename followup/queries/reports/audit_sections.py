"""The parts of the audit page below the curve, each a heading, a sentence and its tables."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from followup.queries.reports.audit_flow import flow_table, seen_table
from followup.queries.reports.audit_tables import Table
from followup.queries.reports.audit_tables_curve import intervals_table, strata_tables
from followup.queries.reports.audit_tables_eyes import anatomy_tables, baseline_table, oil_tables
from followup.queries.reports.audit_tables_sight import sight_tables
from followup.queries.reports.audit_tables_time import beside_tables, rates_table
from followup.queries.reports.audit_whole import WholeAudit


@dataclass(frozen=True, slots=True)
class Section:
    title: str
    intro: str
    tables: tuple[Table, ...]


@dataclass(frozen=True, slots=True)
class Sections:
    flow: Table
    rates: Table
    beside: tuple[Table, ...]
    """How much was followed, what may be hidden, and the same read another way."""
    curve: tuple[Table, ...]
    """Beside the curve: groups, tests, and the event between two visits."""
    rest: tuple[Section, ...]


def sections(whole: WholeAudit) -> Sections:
    return Sections(
        flow=flow_table(whole.report.flow),
        rates=rates_table(whole.report),
        beside=tuple(beside_tables(whole.report)),
        curve=tuple(_curve(whole)),
        rest=tuple(_rest(whole)),
    )


def _curve(whole: WholeAudit) -> Iterator[Table]:
    report = whole.report
    if report.strata:
        yield from strata_tables(report.strata, report.choice)
    if report.intervals:
        yield intervals_table(report.intervals)


def _rest(whole: WholeAudit) -> Iterator[Section]:
    report = whole.report
    yield Section("Who was seen when", "", (seen_table(whole.seen),))
    yield Section("What the eyes were like before", "", (baseline_table(whole.baseline),))
    seen = "Of the eyes whose retina was seen after the index operation, whenever that was."
    unseen = report.anatomy.not_seen
    if unseen:
        seen += f" In no share: {unseen} {'eye' if unseen == 1 else 'eyes'} never seen so."
    yield Section("How many are attached", seen, anatomy_tables(report.anatomy))
    yield Section("How well they see", "", sight_tables(whole.acuity, report.choice.errors))
    if whole.oil:
        yield Section(
            "Oil",
            "The first stay of oil in the eye from the index operation on; an exchange does not end it.",
            oil_tables(whole.oil),
        )
