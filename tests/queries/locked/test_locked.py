"""A locked audit gives the same figures for ever, whatever is corrected later, and notices any change."""

from __future__ import annotations

import zlib
from datetime import date, timedelta
from random import Random

import pytest

from followup.domain.errors import FollowUpError, Refused
from followup.domain.words import Clock, RecurrenceEvent
from followup.models import Change, Exam, Eye, LockedAudit, Operation, Site
from followup.queries.cohort_choice import CohortChoice, Stratum
from followup.queries.cohorts import read_cohort
from followup.queries.locked.differences import EyeDiffers, eyes_that_differ, figures_that_differ
from followup.queries.locked.figures import figures_of
from followup.queries.locked.frozen import cohort_of, digest_of_figures, freeze, thaw
from followup.queries.reports.audit_whole import whole_audit
from followup.services.audits import lock_audit, withdraw_audit
from tests.builders import (
    NOW,
    make_exam,
    make_eye,
    make_operation,
    make_site,
    make_staff,
)
from tests.queries.audited import LOCK, OPERATED, choice_of, make_followed_eyes, people
from tests.queries.locked.conftest import locked_at

pytestmark = pytest.mark.django_db


CHOICES: list[dict[str, object]] = [
    {},
    {"clock": Clock.REMOVED},
    {"strata": Stratum.TAMPONADE, "event": RecurrenceEvent.EITHER},
    {"strata": Stratum.SURGEON, "horizon": 12},
]


@pytest.mark.parametrize("asked", CHOICES, ids=lambda asked: " ".join(map(str, asked)) or "plain")
def test_a_frozen_cohort_is_the_cohort_and_always_the_same_bytes(
    site: Site, asked: dict[str, object]
) -> None:
    cohort = read_cohort(choice_of(site, **asked))
    frozen = freeze(cohort)
    assert thaw(frozen) == cohort
    assert freeze(thaw(frozen)) == freeze(read_cohort(cohort.choice)) == frozen
    assert b" " not in frozen.replace(b"Harbour Eye Clinic", b"")


@pytest.mark.parametrize("seed", range(3))
def test_no_later_entry_or_correction_moves_a_locked_figure(site: Site, seed: int) -> None:
    audit = locked_at(site)
    rng, before = Random(seed), audit.figures
    for exam in rng.sample(list(Exam.objects.order_by("id")), 12):
        exam.retina = rng.choice(["detached_macula_on", "attached", "not_visible"])
        exam.in_error = rng.random() < 0.3
        exam.save()
    for eye in rng.sample(list(Eye.objects.order_by("id")), 4):
        make_exam(eye=eye, day=OPERATED + timedelta(days=rng.randint(500, 900)))
    Operation.objects.filter(pk=Operation.objects.latest("id").pk).update(in_error=True)
    kept = LockedAudit.objects.get()
    cohort = cohort_of(kept)
    again = figures_of(whole_audit(cohort, minimum_at_risk=kept.minimum_at_risk))
    assert again == dict(before) == dict(kept.figures)
    assert digest_of_figures(kept) == kept.figures_digest
    today = read_cohort(cohort.choice)
    assert figures_that_differ(again, figures_of(whole_audit(today, minimum_at_risk=kept.minimum_at_risk)))


def test_today_s_answer_names_the_eyes_gone_added_and_changed(site: Site) -> None:
    then = cohort_of(locked_at(site))
    first, second, third = sorted(Eye.objects.all(), key=lambda eye: eye.pk)[:3]
    first.operations.update(in_error=True)
    second.exams.filter(visit__day__gt=OPERATED + timedelta(days=300)).update(retina="detached_macula_on")
    make_operation(eye=make_eye(site=site), date=date(2016, 1, 4))
    found = eyes_that_differ(then, read_cohort(then.choice))
    assert [(eye.how, eye.eye_id) for eye in found] == [
        ("gone", first.pk),
        ("added", Eye.objects.latest("id").pk),
        ("changed", second.pk),
    ]
    told = {part.name: (part.then, part.today) for part in found[2].what}
    assert told["ending"] == ("free", "recurred")
    assert told["found day"] == ("", "400")
    assert told["final state"][1] == "detached"
    assert third.pk not in {eye.eye_id for eye in found}


def test_nothing_differs_while_nothing_was_touched(site: Site) -> None:
    then = cohort_of(locked_at(site))
    today = read_cohort(then.choice)
    assert eyes_that_differ(then, today) == []
    figures = [figures_of(whole_audit(each, minimum_at_risk=5)) for each in (then, today)]
    assert figures_that_differ(*figures) == []


def test_every_figure_has_a_name_of_its_own_and_the_curve_all_its_digits(site: Site) -> None:
    """By hand: 5 of 20 recur at 200 days; the digits read back as the number that was computed."""
    pairs = locked_at(site).figures
    figures = dict(pairs)
    assert len(figures) == len(pairs)
    shown = figures["Curve, 12 months, all digits"].split(", ")
    assert float(shown[0]) == pytest.approx(0.75)
    whole = whole_audit(read_cohort(choice_of(site)), minimum_at_risk=5)
    assert float(shown[0]) == next(mark.point.survival for mark in whole.report.marks if mark.months == 12)
    assert figures["From all eyes to the curve, In the cohort, Eyes"] == "20"


@pytest.mark.parametrize("harm", ["a byte", "cut short", "not compressed"])
def test_rows_that_were_tampered_with_are_not_shown(site: Site, harm: str) -> None:
    audit = locked_at(site)
    content = bytearray(zlib.decompress(bytes(audit.frozen)))
    content[200] ^= 1
    audit.frozen = {
        "a byte": zlib.compress(bytes(content)),
        "cut short": bytes(audit.frozen)[:-20],
        "not compressed": b"{}",
    }[harm]
    audit.save()
    with pytest.raises(FollowUpError, match="not what was locked"):
        cohort_of(LockedAudit.objects.get())


def test_locking_and_withdrawing_are_kept_in_the_history(site: Site) -> None:
    audit = locked_at(site)
    by = make_staff(role="auditor", site=site)
    withdraw_audit(by=by, now=NOW, audit=audit, reason="Oil was counted twice.")
    assert list(Change.objects.order_by("id").values_list("verb", flat=True)) == [
        "lock_audit",
        "withdraw_audit",
    ]
    assert LockedAudit.objects.get().withdrawn_because == "Oil was counted twice."
    with pytest.raises(FollowUpError, match="withdrawn already: Oil was counted twice"):
        withdraw_audit(by=by, now=NOW, audit=audit, reason="Again")


def test_one_audit_takes_the_place_of_another_of_its_clinic(site: Site) -> None:
    first, second = locked_at(site, "First"), locked_at(site, "Second")
    by = make_staff(role="auditor", site=site)
    for unfit in (first, locked_at(make_site_with_an_eye(), "Elsewhere")):
        with pytest.raises(Refused, match="Another locked audit of the same clinic"):
            withdraw_audit(by=by, now=NOW, audit=first, reason="Wrong", in_its_place=unfit)
    withdraw_audit(by=by, now=NOW, audit=first, reason="Wrong", in_its_place=second)
    assert LockedAudit.objects.get(pk=first.pk).superseded_by == second
    with pytest.raises(Refused, match='"First" is withdrawn itself'):
        withdraw_audit(by=by, now=NOW, audit=second, reason="Wrong", in_its_place=first)


def make_site_with_an_eye() -> Site:
    site = make_site()
    make_operation(eye=make_eye(site=site), date=OPERATED)
    return site


@pytest.mark.parametrize(
    ("role", "title", "asked", "said"),
    [
        ("auditor", " ", {}, "Give it a name"),
        ("auditor", "Nobody", {"operated_from": date(2020, 1, 1)}, "No eye matches"),
        ("coordinator", "Mine", {}, "Only a surgeon or auditor may do this"),
        ("administrator", "Mine", {}, "Only a surgeon or auditor may do this"),
    ],
)
def test_what_cannot_be_locked_is_refused(
    site: Site, role: str, title: str, asked: dict[str, object], said: str
) -> None:
    by = make_staff(role=role, site=site)
    with pytest.raises(FollowUpError, match=said):
        lock_audit(by=by, now=NOW, choice=choice_of(site, **asked), title=title, definitions=[])
    assert not LockedAudit.objects.exists()


def test_the_published_series_keeps_its_numbers_to_the_last_digit() -> None:
    """Five hundred eyes, so that sums of many terms are in it."""
    site, rng = make_site(), Random(11)
    make_followed_eyes(site, people((rng.randint(1, 900), rng.random() < 0.3) for _ in range(500)))
    choice = CohortChoice(site_id=site.pk, lock=LOCK)
    whole = whole_audit(read_cohort(choice), minimum_at_risk=5)
    again = whole_audit(thaw(freeze(read_cohort(choice))), minimum_at_risk=5)
    assert repr(again) == repr(whole)
    assert eyes_that_differ(read_cohort(choice), thaw(freeze(read_cohort(choice)))) == list[EyeDiffers]()
