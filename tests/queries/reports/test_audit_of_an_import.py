"""From a spreadsheet to the figures of an audit: the eyes of a published trial, imported by their map."""

from __future__ import annotations

from datetime import date

import pytest

from followup.models import PathwayVersion
from followup.queries.cohort_choice import Errors
from followup.queries.cohorts import read_cohort
from followup.queries.reports.audit import AuditReport, audit
from followup.queries.reports.audit_cautions import cautions
from tests.builders import make_site
from tests.domain.survival.tables import expected
from tests.interchange.sheets.helpers import SHEETS, saved_map, take_in
from tests.queries.audited import choice_of

pytestmark = pytest.mark.django_db

LASER = "diabetic_retinopathy_laser_trial"


def test_imported_eyes_give_what_r_gives(pathways: list[PathwayVersion]) -> None:
    # Huster 1989, R survival. As whole days no two times join before 26 months, nor cross a mark.
    site = make_site()
    take_in(site, (SHEETS / f"{LASER}.csv").read_bytes(), saved_map(LASER))

    def report(errors: Errors) -> AuditReport:
        cohort = read_cohort(choice_of(site, lock=date(1985, 1, 1), errors=errors))
        return audit(cohort, minimum_at_risk=5)

    by_eye, by_patient = report(Errors.EYES), report(Errors.PATIENTS)
    assert (by_eye.in_curve.eyes, by_eye.in_curve.patients, by_eye.events) == (394, 197, 155)
    naive = {value["time"]: value for value in expected("km_retinopathy_naive")["overall"][0]["at"]}
    robust = {value["time"]: value for value in expected("km_retinopathy_cluster")["overall"][0]["at"]}
    for mine, theirs in ((by_eye, naive), (by_patient, robust)):
        for mark in mine.marks[1:]:
            wanted, limits = theirs[mark.months], theirs[mark.months]["ci"]["log-log"]
            assert mark.point.at_risk == wanted["n_risk"]
            assert (mark.point.survival, mark.point.lower, mark.point.upper) == pytest.approx(
                (wanted["surv"], limits["lower"], limits["upper"]), abs=1e-9
            )
    assert by_eye.inexact_dates == 394
    assert any("the day is not on record: 394 eyes" in caution for caution in cautions(by_eye))
