"""Parts of an audit beside the curve, the eyes behind each figure, cohorts at the ends of the scale."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date, timedelta
from decimal import Decimal

import pytest

from followup.domain.words import Clock, RecurrenceEvent
from followup.models import Patient, Site
from followup.queries.cohort_choice import Stratum
from followup.queries.cohorts import Cohort, read_cohort
from followup.queries.reports.audit_baseline import baseline
from followup.queries.reports.audit_flow import seen_at
from followup.queries.reports.audit_intervals import intervals
from followup.queries.reports.audit_sections import sections
from followup.queries.reports.audit_tables import Table
from followup.queries.reports.audit_whole import eye_list, whole_audit
from followup.queries.reports.audit_words import tables
from tests.builders import make_exam, make_eye, make_operation, make_patient, make_site
from tests.queries.audited import OPERATED, choice_of, make_followed_eyes, people

pytestmark = pytest.mark.django_db


def lost(site: Site) -> None:
    for _ in range(6):
        make_operation(eye=make_eye(site=site), date=OPERATED, attached_at_end="unknown")


def all_on_day_one(site: Site) -> None:
    make_followed_eyes(site, people([(1, True)] * 8))


def nobody(site: Site) -> None:
    """A clinic without an operation."""


def one(site: Site) -> None:
    make_followed_eyes(site, people([(400, False)]))


def all_free(site: Site) -> None:
    make_followed_eyes(site, people([(800, False)] * 30))


def tables_of(cohort: Cohort) -> Iterator[Table]:
    found = sections(whole_audit(cohort, minimum_at_risk=5))
    yield from (found.flow, found.rates, *found.curve, *found.beside)
    for section in found.rest:
        yield from section.tables


@pytest.mark.parametrize("event", list(RecurrenceEvent))
@pytest.mark.parametrize("made", [nobody, one, lost, all_on_day_one, all_free])
def test_every_table_makes_sense_at_the_ends_of_the_scale(
    made: Callable[[Site], None], event: RecurrenceEvent
) -> None:
    site = make_site()
    made(site)
    cohort = read_cohort(choice_of(site, event=event, strata=Stratum.REPEAT))
    for table in tables_of(cohort):
        for line in table.lines:
            assert len(line.cells) == len(table.head) - 1, (table.caption, line.label)
            words = " ".join(cell.text for cell in line.cells)
            assert not {"nan", "None", "inf", "Unknown"} & set(words.split()), (table.caption, words)
    assert tables(whole_audit(cohort, minimum_at_risk=5).report).summary


def test_thirty_of_thirty_and_none_of_thirty_carry_their_intervals() -> None:
    site = make_site()
    all_free(site)
    cohort = read_cohort(choice_of(site))
    attached, _, failed = whole_audit(cohort, minimum_at_risk=5).report.anatomy.primary
    assert (attached.proportion.lower, attached.proportion.upper) == (pytest.approx(0.8843, abs=5e-5), 1)
    assert (failed.proportion.lower, failed.proportion.upper) == (0, pytest.approx(0.1157, abs=5e-5))


@pytest.mark.parametrize("clock", list(Clock))
def test_every_number_that_opens_a_list_opens_as_many_eyes(clock: Clock) -> None:
    site = make_site()
    make_followed_eyes(site, people((40 * n, n % 3 == 0) for n in range(1, 30)))
    cohort = read_cohort(choice_of(site, strata=Stratum.REPEAT, clock=clock))
    opened = 0
    for table in tables_of(cohort):
        for line in table.lines:
            for cell in line.cells:
                if cell.key:
                    found = eye_list(cohort, cell.key)
                    assert found is not None, (table.caption, line.label, cell.key)
                    assert len(found.rows) == int(cell.text.split()[0]), (table.caption, line.label)
                    opened += 1
    assert opened > 30
    assert eye_list(cohort, "unheard_of") is None


def test_the_lost_of_the_flow_are_those_of_the_bounds() -> None:
    site = make_site()
    make_followed_eyes(site, people((40 * n, n % 4 == 0) for n in range(1, 30)))
    Patient.objects.filter(record_number="N5").update(died_on=OPERATED + timedelta(400))
    cohort = read_cohort(choice_of(site))
    found = eye_list(cohort, "lost")
    assert found is not None
    assert len(found.rows) == whole_audit(cohort, minimum_at_risk=5).report.bounds.lost > 0


def test_who_was_seen_when_adds_up() -> None:
    site = make_site()
    for days in ((30, 91, 183), (200,), (730,), ()):
        eye = make_operation(eye=make_eye(site=site), date=OPERATED).eye
        for day in days:
            make_exam(eye=eye, day=OPERATED + timedelta(day))
    died = make_operation(eye=make_eye(site=site), date=OPERATED).eye
    Patient.objects.filter(eyes=died).update(died_on=OPERATED + timedelta(300))
    found = seen_at(read_cohort(choice_of(site)))
    parts = [[len(part.rows) for part in (at.seen, at.later, at.lost, at.died)] for at in found]
    assert parts == [[1, 2, 2, 0], [1, 2, 2, 0], [2, 1, 2, 0], [0, 1, 3, 1], [1, 0, 3, 1]]
    assert {at.due.eyes for at in found} == {5}


def test_a_window_that_has_not_closed_is_not_due() -> None:
    site = make_site()
    make_operation(eye=make_eye(site=site), date=OPERATED)
    found = seen_at(read_cohort(choice_of(site, lock=OPERATED + timedelta(121))))
    assert [at.due.eyes for at in found] == [1, 1, 0, 0, 0]


def test_the_eyes_before_the_operation_with_what_is_missing() -> None:
    site = make_site()
    for age, length, retina, lens in (
        (60, "24.00", "detached_macula_off", "cataract"),
        (70, "30.00", "detached_macula_on", "not_examined"),
        (None, None, "not_visible", "pseudophakic"),
    ):
        patient = make_patient(
            site=site, sex="female" if age == 60 else "unknown", birth_date=age and date(2015 - age, 1, 1)
        )
        eye = make_eye(patient=patient, axial_length_mm=length and Decimal(length))
        make_exam(eye=eye, day=OPERATED, retina=retina, lens=lens)
        make_operation(eye=eye, date=OPERATED)
    found = baseline(read_cohort(choice_of(site)).rows)
    age, length = found.measured
    assert (age.spread.median, age.spread.least, len(age.missing.rows)) == (65, 60, 1)
    assert (length.spread.median, length.spread.most, len(length.missing.rows)) == (27, 30, 1)
    by_label = {trait.label: trait for trait in found.sorted}
    assert (by_label["Sex"].known, len(by_label["Sex"].missing.rows)) == (1, 2)
    macula = by_label["Retina before the operation"]
    assert [share.label.split(": ")[1] for share in macula.shares] == [
        "Detached, macula on",
        "Detached, macula off",
    ]
    assert (by_label["Lens before the operation"].known, macula.known) == (2, 2)


def test_the_interval_curve_is_the_worked_one() -> None:
    # Intervals (0,1], (1,3], (1,6], (3,6], (6,inf), (12,inf), in days:
    # masses 1/6, 1/4, 1/4 and 1/3; S(3) = 0.5833 where the curve that waits for visits says 0.6667.
    site = make_site()
    for seen, found in ((None, 1), (1, 3), (1, 6), (3, 6), (6, None), (12, None)):
        eye = make_operation(eye=make_eye(site=site), date=OPERATED).eye
        if seen:
            make_exam(eye=eye, day=OPERATED + timedelta(seen), retina="attached")
        if found:
            make_exam(eye=eye, day=OPERATED + timedelta(found), retina="detached_macula_on")
    cohort = read_cohort(choice_of(site))
    report = intervals(cohort.rows, cohort.choice)
    assert report is not None
    assert report.grid == 1
    reached = report.corners[::2]
    assert [day for day, _ in reached] == [0, 1, 3, 6]
    assert [free for _, free in reached] == pytest.approx([1, 5 / 6, 7 / 12, 1 / 3])


def test_a_reoperation_has_a_known_day_and_so_no_interval_curve() -> None:
    site = make_site()
    operation = make_operation(eye=make_eye(site=site), date=OPERATED)
    make_operation(eye=operation.eye, date=OPERATED + timedelta(50), indication="redetachment")
    asked = choice_of(site, event=RecurrenceEvent.REOPERATION)
    cohort = read_cohort(asked)
    assert [row.days for row in cohort.rows] == [50]
    assert intervals(cohort.rows, asked) is None


def test_many_days_are_taken_together_outwards() -> None:
    site = make_site()
    make_followed_eyes(site, people((100 + n, n % 2 == 0) for n in range(400)))
    cohort = read_cohort(choice_of(site))
    report = intervals(cohort.rows, cohort.choice)
    assert report is not None
    assert report.grid == 7
    assert all(0 <= mark.lowest <= mark.highest <= 1 for mark in report.marks)
