"""Sight and its change: a published series counted anew, and short stories."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from datetime import date, timedelta
from decimal import Decimal
from statistics import mean, median

import pytest
from scipy import stats

from followup.domain.survival.values import NOT_ESTIMABLE
from followup.models import Eye, PathwayVersion, Site
from followup.queries.cohorts import read_cohort
from followup.queries.reports.audit_acuity import AcuityReport, acuity
from tests.builders import make_acuity, make_exam, make_eye, make_operation, make_site
from tests.interchange.sheets.helpers import SHEETS, saved_map, take_in
from tests.queries.audited import OPERATED, choice_of

pytestmark = pytest.mark.django_db

HOLES = "macular_hole_surgery_benchmark"
COLUMNS = {3: "VA_3months", 6: "VA_6months", 12: "VA_12months"}


def letters(months: int) -> list[tuple[int | None, int | None]]:
    """Letters before and after, straight from the file."""

    def read() -> Iterator[tuple[int | None, int | None]]:
        with (SHEETS / f"{HOLES}.csv").open(encoding="utf-8", newline="") as file:
            for row in csv.DictReader(file):
                yield tuple(  # type: ignore[misc]  # a pair
                    int(row[name]) if row[name] not in ("", "-9") else None
                    for name in ("VA_baseline", COLUMNS[months])
                )

    return list(read())


def report(site: Site, **asked: object) -> AcuityReport:
    return acuity(read_cohort(choice_of(site, **asked)))


@pytest.fixture
def holes(pathways: list[PathwayVersion]) -> Site:
    site = make_site()
    take_in(site, (SHEETS / f"{HOLES}.csv").read_bytes(), saved_map(HOLES))
    return site


@pytest.mark.parametrize(("place", "months"), [(2, 3), (3, 6), (4, 12)])
def test_macular_holes_give_the_letters_of_their_file(holes: Site, place: int, months: int) -> None:
    # Lachance et al. 2022, 104 eyes: at 3, 6 and 12 months, each of one person.
    found = report(holes, lock=date(2017, 1, 1))
    pairs = letters(months)
    after = [second for _, second in pairs if second is not None]
    sight = found.sight[place]
    assert (len(sight.clear.rows), len(sight.missing.rows), len(sight.through.rows)) == (
        len(after),
        104 - len(after),
        0,
    )
    assert sight.levels.median is not None
    assert float(sight.levels.median) == pytest.approx(1.7 - 0.02 * median(after))
    gains = [second - first for first, second in pairs if first is not None and second is not None]
    changed = found.change[place - 1]
    counts = [sum(gain >= 15 for gain in gains), sum(-15 < gain < 15 for gain in gains)]
    assert [len(part.rows) for part in changed.by_lines] == [*counts, sum(gain <= -15 for gain in gains)]
    assert [share.proportion.total for share in changed.shares] == [len(gains)] * 3
    assert changed.gain.value == pytest.approx(mean(gains) / 50)
    interval = stats.ttest_1samp(gains, 0).confidence_interval(0.95)
    assert (changed.gain.lower, changed.gain.upper) == pytest.approx((interval.low / 50, interval.high / 50))


def test_before_the_operation_all_104_letters_are_on_record(holes: Site) -> None:
    before = report(holes, lock=date(2017, 1, 1)).sight[0]
    assert (len(before.clear.rows), len(before.missing.rows)) == (104, 0)
    first = [value for value, _ in letters(6) if value is not None]
    assert float(str(before.levels.median)) == pytest.approx(1.7 - 0.02 * median(first))


def read_on(eye: Eye, day: int, logmar: str | None, *, category: str = "", **exam: str) -> None:
    """A reading so many days after the operation; the correction is best unless it is named."""
    correction = exam.pop("correction", "best")
    make_acuity(
        exam=make_exam(eye=eye, day=OPERATED + timedelta(day), **exam),
        logmar=None if logmar is None else Decimal(logmar),
        category=category,
        notation="category" if category else "letters",
        correction=correction,
    )


@pytest.fixture
def eye() -> Eye:
    eye = make_eye()
    make_operation(eye=eye, date=OPERATED, tamponade_in="sf6")
    return eye


def test_sight_through_gas_is_no_loss(eye: Eye) -> None:
    # Before 55 letters, 20 through gas, 70 at 3 months: one of "three lines gained".
    read_on(eye, -10, "0.6")
    read_on(eye, 16, "1.3", tamponade_seen="bubble")
    read_on(eye, 91, "0.3", tamponade_seen="none")
    found = report(eye.patient.site)
    one_month, three_months = found.sight[1], found.sight[2]
    assert (len(one_month.through.rows), len(one_month.clear.rows)) == (1, 0)
    assert [len(part.rows) for part in found.change[0].by_lines] == [0, 0, 0]
    assert [part.label for part in found.change[0].not_compared] == [
        "1 month: not compared: gas or oil in the eye"
    ]
    assert (len(three_months.clear.rows), three_months.levels.median) == (1, Decimal("0.3"))
    assert [len(part.rows) for part in found.change[1].by_lines] == [1, 0, 0]


@pytest.mark.parametrize(
    ("agent", "day", "through"),
    [("sf6", 40, 1), ("c3f8", 91, 0), ("oil_1000", 183, 1), ("unknown", 183, 1), ("none", 30, 0)],
)
def test_where_nobody_looked_the_filling_is_taken_as_it_usually_stays(
    agent: str, day: int, through: int
) -> None:
    eye = make_eye()
    make_operation(eye=eye, date=OPERATED, tamponade_in=agent)
    read_on(eye, day, "0.5")
    found = report(eye.patient.site)
    assert sum(len(sight.through.rows) for sight in found.sight) == through


def test_below_the_chart_is_told_by_order_alone(eye: Eye) -> None:
    read_on(eye, 0, None, category="hand_movements")
    read_on(eye, 183, "1.0")
    found = report(eye.patient.site)
    assert dict(found.sight[0].categories) == {"hand_movements": 1}
    assert found.sight[0].levels.median == "hand_movements"
    changed = found.change[2]
    assert (changed.gain.value, len(changed.compared.rows)) == (NOT_ESTIMABLE, 0)
    assert [len(part.rows) for part in changed.below_chart] == [1, 0, 0]


def test_a_time_takes_the_nearest_visit_of_its_window_and_the_correction_of_before(eye: Eye) -> None:
    read_on(eye, -200, "0.0")
    read_on(eye, -3, "0.6", correction="unaided")
    for day, logmar in ((122, "0.1"), (160, "0.2"), (206, "0.3"), (244, "0.4")):
        read_on(eye, day, logmar, correction="unaided")
    make_acuity(
        exam=eye.exams.get(visit__day=OPERATED + timedelta(206)), logmar=Decimal("0.05"), correction="best"
    )
    found = report(eye.patient.site)
    assert [sight.levels.median for sight in found.sight] == [
        Decimal("0.6"),
        None,
        None,
        Decimal("0.3"),
        None,
        None,
    ]
    # 160 and 206 are both 23 days from 183: the later stands for it.
    assert found.change[2].gain.value == pytest.approx(0.3)


def test_other_corrections_are_not_compared(eye: Eye) -> None:
    read_on(eye, 0, "0.6", correction="pinhole")
    read_on(eye, 183, "0.2", correction="best")
    changed = report(eye.patient.site).change[2]
    assert [part.label for part in changed.not_compared] == ["6 months: not compared: other correction"]
    assert changed.read_at_both == 1


def test_every_eye_is_in_one_part_at_each_time(holes: Site) -> None:
    found = report(holes, lock=date(2017, 1, 1))
    for sight in found.sight:
        assert sum(len(part.rows) for part in (sight.clear, sight.through, sight.missing)) == 104
    for changed in found.change:
        parts = (changed.compared, changed.missing, *changed.below_chart, *changed.not_compared)
        assert sum(len(part.rows) for part in parts) == 104


def test_nobody_has_no_sight() -> None:
    found = report(make_site())
    assert {sight.levels.median for sight in found.sight} == {None}
    assert {share.proportion.share for at in found.change for share in at.shares} == {NOT_ESTIMABLE}
