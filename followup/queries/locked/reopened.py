"""A locked audit read again: its figures from its own rows, and what program and records say today."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from followup.models import LockedAudit
from followup.queries.cohorts import Cohort, read_cohort, surgeons_at
from followup.queries.locked.differences import (
    Differs,
    EyeDiffers,
    eyes_that_differ,
    figures_that_differ,
)
from followup.queries.locked.figures import figures_of
from followup.queries.locked.frozen import cohort_of
from followup.queries.locked.program import program
from followup.queries.reports.audit_method import Definition, definitions
from followup.queries.reports.audit_whole import WholeAudit, whole_audit


@dataclass(frozen=True, slots=True)
class Reopened:
    """`whole` is computed anew from the rows that were locked, by today's program."""

    whole: WholeAudit
    recounted: list[Differs]
    """Figures that today's program gives otherwise from the very same rows."""
    same_program: bool
    program: str
    """Today's."""
    definitions: list[Definition]
    """As they were printed then."""
    reworded: list[str]
    """Terms that are defined otherwise today, or no more, or only since."""
    figures: list[Differs]
    """Against the same question asked of today's records."""
    eyes: Mapping[str, int]
    """How many are gone, added and changed."""


def reopened(audit: LockedAudit) -> Reopened:
    """Raises Refused for rows or figures that were tampered with, OtherForm for rows that cannot be read."""
    cohort = cohort_of(audit)
    whole, recounted = counted_again(audit)
    today = read_cohort(cohort.choice)
    asked_again = figures_of(whole_audit(today, minimum_at_risk=audit.minimum_at_risk))
    return Reopened(
        whole=whole,
        recounted=recounted,
        same_program=audit.program == program(),
        program=program(),
        definitions=kept_definitions(audit),
        reworded=_reworded(audit, cohort),
        figures=figures_that_differ(dict(audit.figures), asked_again),
        eyes=Counter(eye.how for eye in eyes_that_differ(cohort, today)),
    )


def counted_again(audit: LockedAudit) -> tuple[WholeAudit, list[Differs]]:
    """The figures from the locked rows, by today's program, and those that were locked otherwise."""
    whole = whole_audit(cohort_of(audit), minimum_at_risk=audit.minimum_at_risk)
    return whole, figures_that_differ(dict(audit.figures), figures_of(whole))


def differing_eyes(audit: LockedAudit) -> list[EyeDiffers]:
    cohort = cohort_of(audit)
    return eyes_that_differ(cohort, read_cohort(cohort.choice))


def kept_definitions(audit: LockedAudit) -> list[Definition]:
    return [Definition(term, text) for term, text in audit.definitions]


def _reworded(audit: LockedAudit, cohort: Cohort) -> list[str]:
    choice = cohort.choice
    surgeon = dict(surgeons_at(*choice.site_ids)).get(choice.surgeon, "")
    today = {each.term: each.text for each in definitions(choice, site=audit.site.name, surgeon=surgeon)}
    return [each.name for each in figures_that_differ(dict(audit.definitions), today)]
