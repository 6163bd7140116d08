"""What happens to whole records later, merging them and undoing an import, moves no locked figure."""

from __future__ import annotations

from collections import Counter
from datetime import date

import pytest

from followup.models import Eye, ImportBatch, PathwayVersion, Site
from followup.queries.cohort_choice import Errors
from followup.queries.locked.frozen import cohort_of
from followup.queries.locked.reopened import differing_eyes, reopened
from followup.queries.reports.audit_sheet import sheet_rows
from followup.services.import_undo import undo_import
from followup.services.merges import merge_patients, undo_merge
from tests.builders import NOW, make_site, make_staff
from tests.domain.survival.tables import expected
from tests.interchange.sheets.helpers import SHEETS, saved_map, take_in
from tests.queries.locked.conftest import locked_at

pytestmark = pytest.mark.django_db
LASER = "diabetic_retinopathy_laser_trial"


def test_an_import_undone_and_taken_in_anew_leaves_r_s_numbers_in_the_locked_audit(
    pathways: list[PathwayVersion],
) -> None:
    # Huster 1989, R survival: the limits by eye at each mark.
    site, content = make_site(), (SHEETS / f"{LASER}.csv").read_bytes()
    take_in(site, content, saved_map(LASER))
    audit = locked_at(site, lock=date(1985, 1, 1), errors=Errors.EYES)
    rows = list(sheet_rows(cohort_of(audit)))
    undo_import(by=None, now=NOW, batch=ImportBatch.objects.get())
    assert not Eye.objects.exists()
    gone = reopened(audit)
    assert [eye.code for eye in differing_eyes(audit)] == [row.code for row in cohort_of(audit).rows]
    take_in(site, content, saved_map(LASER))
    anew = reopened(audit)
    wanted = {value["time"]: value for value in expected("km_retinopathy_naive")["overall"][0]["at"]}
    for again, eyes in ((gone, {"gone": 394}), (anew, {"gone": 394, "added": 394})):
        assert again.recounted == []
        assert again.eyes == eyes
        for mark in again.whole.report.marks[1:]:
            limits = wanted[mark.months]["ci"]["log-log"]
            assert (mark.point.survival, mark.point.lower, mark.point.upper) == pytest.approx(
                (wanted[mark.months]["surv"], limits["lower"], limits["upper"]), abs=1e-9
            )
    assert list(sheet_rows(cohort_of(audit))) == rows
    assert gone.figures
    # Taken in anew the eyes bear new codes, but every figure is what it was.
    assert anew.figures == []


def test_two_records_merged_show_as_eyes_gone_added_and_changed_and_come_back_apart(
    site: Site, pathways: list[PathwayVersion]
) -> None:
    audit = locked_at(site)
    first, second = sorted(Eye.objects.all(), key=lambda eye: eye.pk)[:2]
    second.side = "left"
    second.save()
    audit = locked_at(site, "With a left eye")
    by = make_staff(role="surgeon", site=site)
    merge = merge_patients(by=by, now=NOW, kept=first.patient, merged=second.patient)
    again = reopened(audit)
    assert again.recounted == []
    assert again.eyes == {"gone": 1, "added": 1}
    changed = {figure.name: (figure.then, figure.today) for figure in again.figures}
    assert changed["From all eyes to the curve, In the cohort, Patients"] == ("20", "19")
    undo_merge(by=by, now=NOW, merge=merge)
    apart = reopened(audit)
    assert (apart.figures, apart.eyes) == ([], Counter())
