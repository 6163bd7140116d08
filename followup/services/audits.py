"""Audits that are locked: frozen with their rows, figures and digests, and withdrawn, never changed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction

from followup.domain.errors import Refused
from followup.domain.roles import Action
from followup.models import LockedAudit, Site, Staff
from followup.queries.cohort_choice import CohortChoice
from followup.queries.cohorts import read_cohort
from followup.queries.locked.figures import figures_of
from followup.queries.locked.frozen import digest_of, digest_of_figures, freeze, packed
from followup.queries.locked.program import program
from followup.queries.reports.audit_method import Definition
from followup.queries.reports.audit_whole import whole_audit
from followup.services.history import record_change, snapshot
from followup.services.rows import locked, need_role, required, save_valid

_SHOWN = (
    "title",
    "address",
    "lock",
    "eyes",
    "rows_digest",
    "figures_digest",
    "withdrawn_because",
    "superseded_by",
)


@transaction.atomic
def lock_audit(
    *,
    by: Staff,
    now: datetime,
    choice: CohortChoice,
    title: str,
    definitions: Sequence[Definition],
) -> LockedAudit:
    """Freezes what was asked, the rows that answer it now, and every figure, each under its digest.

    Raises NotAllowed for a role that locks no audits, Refused without a title and for a cohort of nobody.
    """
    need_role(by, Action.LOCK_AUDIT)
    name = required(title, field="title", message="Give it a name by which it is found again.")
    site = Site.objects.get(pk=choice.site_id)
    cohort = read_cohort(choice)
    if not cohort.rows:
        raise Refused("No eye matches, so there is nothing to lock.", code="nobody")
    rows = freeze(cohort)
    figures = figures_of(whole_audit(cohort, minimum_at_risk=site.curve_minimum_at_risk))
    audit = LockedAudit(
        site=site,
        title=name,
        address=choice.query,
        lock=choice.lock,
        minimum_at_risk=site.curve_minimum_at_risk,
        frozen=packed(rows),
        rows_digest=digest_of(rows),
        figures=[[name, figure] for name, figure in figures.items()],
        definitions=[[each.term, each.text] for each in definitions],
        program=program(),
        eyes=len(cohort.rows),
        locked_by=by,
        locked_at=now,
    )
    audit.figures_digest = digest_of_figures(audit)
    save_valid(audit)
    audit.other_sites.set(choice.other_sites)
    record_change(by=by, at=now, site=site, verb="lock_audit", subject=audit, after=snapshot(audit, _SHOWN))
    return audit


@transaction.atomic
def withdraw_audit(
    *, by: Staff, now: datetime, audit: LockedAudit, reason: str, in_its_place: LockedAudit | None = None
) -> LockedAudit:
    """It is not to be used any more, and stays to be read; another may take its place.

    Refused without a reason, a second time, and for a successor that is itself withdrawn.
    """
    need_role(by, Action.LOCK_AUDIT)
    audit = locked(audit)
    why = required(reason, field="reason", message="Say why it is not to be used any more.")
    if audit.withdrawn_at is not None:
        raise Refused(f"It was withdrawn already: {audit.withdrawn_because}", code="withdrawn")
    if in_its_place:
        _refuse_unfit(audit, locked(in_its_place))
    before = snapshot(audit, _SHOWN)
    audit.withdrawn_by, audit.withdrawn_at, audit.withdrawn_because = by, now, why
    audit.superseded_by = in_its_place
    save_valid(audit)
    record_change(
        by=by,
        at=now,
        site=audit.site,
        verb="withdraw_audit",
        subject=audit,
        before=before,
        after=snapshot(audit, _SHOWN),
    )
    return audit


def _refuse_unfit(audit: LockedAudit, successor: LockedAudit) -> None:
    if successor.pk == audit.pk or successor.site_id != audit.site_id:
        raise Refused("Another locked audit of the same clinic must take its place.", field="in_its_place")
    if successor.withdrawn_at is not None:
        raise Refused(
            f'"{successor.title}" is withdrawn itself: choose one that is in use.', field="in_its_place"
        )
