"""All figures of an audit from the rows of a cohort, and the list of eyes behind each."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from followup.queries.cohorts import Cohort
from followup.queries.reports import audit_acuity, audit_anatomy, audit_baseline, audit_oil, monitoring
from followup.queries.reports.audit import AuditReport, audit
from followup.queries.reports.audit_acuity import AcuityReport, acuity
from followup.queries.reports.audit_baseline import Baseline, baseline
from followup.queries.reports.audit_counts import EyeList
from followup.queries.reports.audit_flow import SeenAt, flow_lists, seen_at, seen_lists
from followup.queries.reports.audit_oil import OilReport, oil
from followup.queries.reports.audit_strata import groups
from followup.queries.reports.audit_tables_time import time_lists


@dataclass(frozen=True, slots=True)
class WholeAudit:
    """`report` holds the curve and what is read from it; the rest is told of the same eyes."""

    report: AuditReport
    seen: tuple[SeenAt, ...]
    baseline: Baseline
    acuity: AcuityReport
    oil: OilReport | None


def whole_audit(cohort: Cohort, *, minimum_at_risk: int) -> WholeAudit:
    """Pure: rows in, figures out."""
    return WholeAudit(
        report=audit(cohort, minimum_at_risk=minimum_at_risk),
        seen=seen_at(cohort),
        baseline=baseline(cohort.rows),
        acuity=acuity(cohort),
        oil=oil(cohort),
    )


def eye_list(cohort: Cohort, key: str) -> EyeList | None:
    """The eyes behind a figure; None where the audit has no figure of that key."""
    return next((found for found in _lists(cohort) if found.key == key), None)


def _lists(cohort: Cohort) -> Iterator[EyeList]:
    yield from flow_lists(cohort)
    yield from time_lists(cohort)
    yield from groups(cohort)
    yield from audit_anatomy.lists(cohort.rows)
    yield from audit_oil.lists(cohort)
    yield from seen_lists(cohort)
    yield from audit_baseline.lists(cohort.rows)
    yield from audit_acuity.lists(acuity(cohort))
    yield from monitoring.lists(cohort)
