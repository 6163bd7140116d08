"""Eyes of every kind for audits that are locked."""

from __future__ import annotations

from datetime import timedelta

import pytest

from followup.models import LockedAudit, Site
from followup.queries.reports.audit_method import Definition
from followup.services.audits import lock_audit
from tests.builders import (
    NOW,
    make_acuity,
    make_exam,
    make_eye,
    make_oil_operation,
    make_operation,
    make_site,
    make_staff,
)
from tests.queries.audited import OPERATED, choice_of


@pytest.fixture
def site() -> Site:
    """Twenty eyes of every kind: gas and oil, one recurrence in four, sight before and after."""
    site = make_site(name="Harbour Eye Clinic")
    for number in range(20):
        eye = make_eye(site=site, axial_length_mm="27.31" if number % 2 else None)
        make = make_oil_operation if number % 3 else make_operation
        make(eye=eye, date=OPERATED + timedelta(days=number))
        for days in (-2, 30, 200, 400):
            found = "detached_macula_off" if number % 4 == 0 and days == 200 else "attached"
            exam = make_exam(eye=eye, day=OPERATED + timedelta(days=number + days), retina=found)
            make_acuity(exam=exam, as_written="6/18-1" if days < 0 else "6/9")
    return site


def locked_at(site: Site, title: str = "Two years of oil", **asked: object) -> LockedAudit:
    return lock_audit(
        by=make_staff(role="auditor", site=site),
        now=NOW,
        choice=choice_of(site, **asked),
        title=title,
        definitions=[Definition("Unit", "One eye.")],
    )
