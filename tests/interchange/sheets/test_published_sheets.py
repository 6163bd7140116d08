"""Three published sets of operated eyes go in whole, unedited, by the maps kept beside them.

Sources and licences: fixtures/sheets/README.md. Expected counts are counted here from the files.
"""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Iterator
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from followup.domain.outcome import Ending
from followup.models import AcuityReading, Exam, Eye, Operation, Patient, Site, Visit
from followup.queries.cohort_choice import CohortChoice
from followup.queries.cohorts import read_cohort
from tests.builders import TODAY
from tests.interchange.sheets.helpers import SHEETS, outcomes, saved_map, take_in

pytestmark = pytest.mark.django_db

HOLES, INJECTIONS, LASER = (
    "macular_hole_surgery_benchmark",
    "nv_amd_2_years_semicolon",
    "diabetic_retinopathy_laser_trial",
)
NOMINAL = date(2015, 1, 1)


def _content(name: str) -> bytes:
    return (SHEETS / f"{name}.csv").read_bytes()


def _rows(name: str, separator: str = ",") -> list[dict[str, str]]:
    return list(csv.DictReader(StringIO(_content(name).decode()), delimiter=separator))


def _readings(number: str) -> Iterator[tuple[int, str]]:
    found = AcuityReading.objects.filter(exam__eye__patient__record_number=number)
    for reading in found.order_by("exam__visit__day").select_related("exam__visit"):
        yield (reading.exam.visit.day - NOMINAL).days, reading.as_written


def test_macular_holes_keep_every_reading_and_invent_none(site: Site) -> None:
    checked = take_in(site, _content(HOLES), saved_map(HOLES))
    assert checked.counts["read"] == checked.counts["new"] == 104
    assert Operation.objects.filter(date_precision="nominal", date=NOMINAL).count() == 104
    assert list(_readings("0")) == [(0, "58"), (14, "68"), (181, "78"), (365, "78")]
    filled = {
        column: sum(bool(row[column]) for row in _rows(HOLES))
        for column in ("VA_baseline", "VA_2weeks", "VA_3months", "VA_6months", "VA_12months")
    }
    days = Counter(AcuityReading.objects.values_list("exam__visit__day", flat=True))
    assert list(filled.values()) == [104, 91, 73, 104, 49]
    assert [days[day] for day in sorted(days)] == list(filled.values())
    assert Visit.objects.count() == sum(filled.values())


def test_macular_holes_twice_change_nothing(site: Site) -> None:
    take_in(site, _content(HOLES), saved_map(HOLES))
    assert set(outcomes(take_in(site, _content(HOLES), saved_map(HOLES)))) == {"same"}


def test_two_years_of_injections_keep_each_visit(site: Site) -> None:
    rows = _rows(INJECTIONS, ";")
    days_of_eyes = {(row["Id"], row["Eye"], row["FollowupDays"]) for row in rows}
    assert len(days_of_eyes) == len(rows) == 20_218
    checked = take_in(site, _content(INJECTIONS), saved_map(INJECTIONS))
    assert (checked.counts["read"], checked.counts["accepted"]) == (20_218, 20_218)
    eyes = Counter("right" if eye == "0" else "left" for _, eye in {(row["Id"], row["Eye"]) for row in rows})
    assert Counter(Eye.objects.values_list("side", flat=True)) == eyes
    assert Operation.objects.count() == 1660
    assert (Visit.objects.count(), Exam.objects.count()) == (20_218, 20_218)
    assert AcuityReading.objects.count() == sum(bool(row["VA_ETDRS_Letters"]) for row in rows) == 20_217
    wanted = [
        (int(row["FollowupDays"]), row["VA_ETDRS_Letters"]) for row in rows if row["Id"] == rows[0]["Id"]
    ]
    assert list(_readings(rows[0]["Id"])) == sorted(wanted)


def test_the_laser_trial_gives_each_eye_its_own_side_and_time(site: Site) -> None:
    checked = take_in(site, _content(LASER), saved_map(LASER))
    assert (checked.counts["read"], checked.counts["new"]) == (394, 394)
    assert (Patient.objects.count(), Eye.objects.count(), Exam.objects.count()) == (197, 394, 394)
    found = {
        (exam.eye.patient.record_number, exam.eye.side): (exam.visit.day, exam.retina)
        for exam in Exam.objects.select_related("eye__patient", "visit")
    }
    other = {"left": "right", "right": "left"}
    start = date(1975, 1, 1)
    for row in _rows(LASER):
        side = row["eye"] if row["trt"] == "1" else other[row["eye"]]
        days = (Decimal(row["futime"]) * Decimal("30.4375")).quantize(Decimal(1), ROUND_HALF_UP)
        retina = "detached_macula_off" if row["status"] == "1" else "attached"
        assert found[row["id"], side] == (start + timedelta(days=int(days)), retina)
    assert Counter(retina for _, retina in found.values()) == {"attached": 239, "detached_macula_off": 155}
    rows = read_cohort(CohortChoice(site_id=site.pk, lock=TODAY)).rows
    assert Counter(row.ending for row in rows) == {Ending.FREE: 239, Ending.RECURRED: 155}
    days = sorted((day - start).days for day, _ in found.values())
    assert sorted(row.days for row in rows if row.days is not None) == days


def test_the_command_says_what_it_would_do_and_does_it_when_told(site: Site) -> None:
    told = StringIO()
    arguments = [str(SHEETS / f"{HOLES}.csv"), "--site", site.name, "--map", str(SHEETS / f"{HOLES}.json")]
    call_command("import_sheet", *arguments, stdout=told)
    assert "104 rows read: 104 new, 0 changed, 0 same, 0 human, 0 refused, 0 ignored." in told.getvalue()
    assert "Nothing was written." in told.getvalue()
    assert not Patient.objects.exists()
    call_command("import_sheet", *arguments, "--confirm", stdout=told)
    assert Patient.objects.count() == 104


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["missing.csv", "--site", "{site}", "--map", "{map}"], "cannot be read: No such file"),
        (["{map}", "--site", "Nowhere", "--map", "{map}"], 'no site "Nowhere". Sites: '),
        (["{sheet}", "--site", "{site}", "--map", "{sheet}"], "is not JSON"),
        (["{other}", "--site", "{site}", "--map", "{map}"], 'needs the column "id"'),
        (["{sheet}", "--site", "{site}", "--map", "{map}", "--by", "nobody"], 'Nobody signs in as "nobody"'),
    ],
)
def test_the_command_names_what_is_wrong(site: Site, arguments: list[str], message: str) -> None:
    words = {
        "site": site.name,
        "map": str(SHEETS / f"{HOLES}.json"),
        "sheet": str(SHEETS / f"{HOLES}.csv"),
        "other": str(SHEETS / f"{INJECTIONS}.csv"),
    }
    with pytest.raises(CommandError) as refusal:
        call_command("import_sheet", *(argument.format(**words) for argument in arguments), stdout=StringIO())
    assert message in str(refusal.value)
