"""Years later another program reads what this one locked, and says so where it counts otherwise."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from followup.models import LockedAudit, Site
from followup.queries.locked import program as program_module
from followup.queries.locked.differences import Differs
from followup.queries.locked.frozen import (
    OtherForm,
    canonical,
    cohort_of,
    digest_of,
    digest_of_figures,
    freeze,
    packed,
    thaw,
)
from followup.queries.locked.program import program
from followup.queries.locked.reopened import reopened
from followup.queries.reports.audit_whole import whole_audit
from tests.queries.locked.conftest import locked_at

FORM_1 = json.loads((Path(__file__).parent / "form_1.json").read_text(encoding="ascii"))
"""An audit as the first version locked it: eyes with gas and oil, two groups, recurrences, sight."""


def test_what_the_first_version_locked_is_read_for_ever() -> None:
    """By hand: 2 of 8 eyes recur at 200 days. If it fails, a row changed its shape: give new fields a
    default, or read form 1 with a reader of its own.
    """
    frozen = canonical(FORM_1["frozen"])
    assert digest_of(frozen) == FORM_1["digest"]
    report = whole_audit(thaw(frozen), minimum_at_risk=5).report
    assert (report.in_curve.eyes, report.in_curve.patients, report.events) == (8, 8, 2)
    assert [mark.point.survival for mark in report.marks[:3]] == [1.0, 1.0, 0.75]
    assert report.strata
    assert [(group.count.label, group.count.eyes) for group in report.strata.groups] == [
        ("SF6 gas", 3),
        ("Silicone oil 1000 cSt", 5),
    ]


@pytest.mark.parametrize(
    "written", [b"{}", b"[]", b'{"form":2,"cohort":{}}', b'{"form":1,"cohort":{}}', b"\xff"]
)
def test_a_form_that_this_program_does_not_know_is_no_tampering(written: bytes) -> None:
    with pytest.raises(OtherForm):
        thaw(written)


@pytest.mark.django_db
def test_rows_of_another_form_are_told_from_rows_that_were_changed(site: Site) -> None:
    audit = locked_at(site)
    other = canonical({"form": 2, "cohort": {}})
    audit.frozen, audit.rows_digest = packed(other), digest_of(other)
    audit.save()
    with pytest.raises(OtherForm):
        cohort_of(LockedAudit.objects.get())


@pytest.mark.django_db
def test_a_program_that_counts_otherwise_says_which_figure_and_what_was_locked(site: Site) -> None:
    audit = locked_at(site)
    first = "From all eyes to the curve, In the cohort, Eyes"
    audit.figures = [[name, "19" if name == first else figure] for name, figure in audit.figures]
    audit.figures_digest = digest_of_figures(audit)
    audit.save()
    again = reopened(LockedAudit.objects.get())
    assert again.recounted == [Differs(first, "19", "20")]
    assert again.figures == again.recounted


@pytest.mark.django_db
def test_a_program_that_changed_and_counts_the_same_says_so(
    site: Site, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    audit = locked_at(site)
    assert reopened(audit).same_program
    (tmp_path / "domain").mkdir()
    (tmp_path / "domain" / "outcome.py").write_text("# other rules\n")
    monkeypatch.setattr(program_module, "_FOLLOWUP", tmp_path)
    program.cache_clear()
    again = reopened(audit)
    program.cache_clear()
    assert not again.same_program
    assert again.program != audit.program
    assert again.recounted == []


@pytest.mark.django_db
def test_definitions_reworded_since_are_named(site: Site) -> None:
    audit = locked_at(site)
    again = reopened(audit)
    # Locked with one definition alone; today's page prints a good many.
    assert [definition.text for definition in again.definitions] == ["One eye."]
    assert "Unit" in again.reworded
    assert "Recurrence" in again.reworded


@pytest.mark.django_db
@pytest.mark.parametrize("field", ["figures", "definitions", "minimum_at_risk", "eyes", "lock", "address"])
def test_a_stored_column_that_was_changed_is_noticed(site: Site, field: str) -> None:
    audit = locked_at(site)
    changed = {
        "figures": [*audit.figures, ["Median follow-up", "99 months"]],
        "definitions": [["Unit", "One patient."]],
        "minimum_at_risk": 1,
        "eyes": 21,
        "lock": audit.lock.replace(year=2020),
        "address": audit.address.replace("horizon=24", "horizon=12"),
    }
    LockedAudit.objects.update(**{field: changed[field]})
    with pytest.raises(Exception, match="is not what was locked"):
        cohort_of(LockedAudit.objects.get())


@pytest.mark.django_db
def test_the_digest_of_the_rows_covers_the_question_too(site: Site) -> None:
    cohort = cohort_of(locked_at(site))
    asked = replace(cohort, choice=replace(cohort.choice, horizon=12))
    assert digest_of(freeze(asked)) != digest_of(freeze(cohort))
