"""Under codes: nobody is named, days tell nothing of the calendar, and what few share is listed."""

from __future__ import annotations

import csv
import io
import zipfile
from datetime import date, timedelta
from typing import Any

import pytest

from followup.interchange.exports.about import about
from followup.interchange.exports.archive import FullExport
from followup.models import Eye, Operation, Patient, Site
from followup.queries.cohort_codes import days_moved
from followup.queries.takeout.people import Days, named, unnamed
from followup.queries.takeout.rows import headings_of, rows_of
from followup.queries.takeout.tables import EYES, OPERATIONS, PATIENTS, TABLES, VISITS
from tests.builders import (
    TODAY,
    make_attempt,
    make_decision,
    make_exam,
    make_eye,
    make_operation,
    make_patient,
    make_report,
)

pytestmark = pytest.mark.django_db

NAMING = (
    "0012",
    "نصر",
    "Amal",
    "Osric",
    "HYPERLINK",
    "Quay",
    "example.org",
    "447700900012",
    "her son",
    "lines",
    "says",
)


def operated(patient: Patient, **fields: Any) -> Eye:
    return make_operation(eye=make_eye(patient=patient), **fields).eye


def files_of(site: Site, days: Days) -> dict[str, str]:
    written = io.BytesIO()
    writer = unnamed(site, days)
    FullExport(site, writer, about=about(site, TODAY, writer)).write_zip(written)
    archive = zipfile.ZipFile(written)
    return {name: archive.read(name).decode("utf-8-sig") for name in archive.namelist()}


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


@pytest.mark.parametrize("days", Days)
def test_nothing_that_names_somebody_is_in_any_file(harbour: Site, days: Days) -> None:
    patient = Patient.objects.get(record_number="0012")
    eye = Eye.objects.get(patient=patient, side="right")
    make_attempt(patient=patient, number_used="+447700900012", note="Her son answered")
    make_decision(eye=eye, reason="Amal wishes it", kind="transfer", to_whom="Quay clinic")
    make_report(patient=patient, note="Amal sees a shadow")
    for name, text in files_of(harbour, days).items():
        for word in NAMING if name != "about.csv" else NAMING[:-3]:
            assert word not in text, (name, word)


def test_days_count_from_the_first_operation_of_the_person(harbour: Site) -> None:
    files = files_of(harbour, Days.SINCE)
    assert [row["operation_day"] for row in rows(files["03-operations.csv"])] == ["0", "92", "92"]
    assert [row["visit_day"] for row in rows(files["04-visits.csv"])] == ["99", "184"]
    people = {row["age_at_first_operation"] for row in rows(files["01-patients.csv"])}
    assert people == {"73", ""}


def test_moved_dates_keep_every_interval_of_a_person(harbour: Site) -> None:
    patient = Patient.objects.get(record_number="0012")
    moved = [
        date.fromisoformat(row["operation_date"])
        for row in rows(files_of(harbour, Days.MOVED)["03-operations.csv"])
    ]
    really = list(
        Operation.objects.filter(in_error=False).order_by("date", "pk").values_list("date", flat=True)
    )
    assert {later - earlier for later, earlier in zip(moved, really, strict=True)} == {
        timedelta(days=days_moved(patient.pseudonym))
    }


def test_codes_are_the_same_in_every_table_and_export_and_give_no_order_away(harbour: Site) -> None:
    for number in range(12):
        operated(make_patient(site=harbour, record_number=f"A{number:02}"))
    first, second = files_of(harbour, Days.SINCE), files_of(harbour, Days.MOVED)
    people = [row["person"] for row in rows(first["01-patients.csv"])]
    assert people == [row["person"] for row in rows(second["01-patients.csv"])] == sorted(people)
    assert {row["person"] for row in rows(first["03-operations.csv"])} <= set(people)
    assert {row["eye"] for row in rows(first["03-operations.csv"])} <= {
        row["eye"] for row in rows(first["02-eyes.csv"])
    }


def test_somebody_who_is_registered_while_the_file_is_written_is_in_no_table(harbour: Site) -> None:
    writer = unnamed(harbour, Days.MOVED)
    operated(make_patient(site=harbour))
    assert [len(list(rows_of(table, harbour, writer))) for table in (PATIENTS, EYES, OPERATIONS)] == [2, 2, 3]


def test_an_age_of_ninety_and_more_is_told_as_ninety(harbour: Site) -> None:
    old = make_patient(site=harbour, birth_date=date(1920, 1, 1))
    operated(old, date=date(2024, 1, 1))
    told = {row["age_at_first_operation"] for row in rows(files_of(harbour, Days.SINCE)["01-patients.csv"])}
    assert "90" in told
    assert "104" not in told


def test_what_fewer_than_five_people_share_is_listed(harbour: Site) -> None:
    for _ in range(5):
        operated(make_patient(site=harbour, sex="male"), tamponade_in="air")
    few = {
        (row["table"], row["column"], row["value"]): row["people"]
        for row in rows(files_of(harbour, Days.SINCE)["small_counts.csv"])
    }
    assert few["operations", "tamponade_in", "oil_1000"] == "1"
    assert few["patients", "age_at_first_operation", "73"] == "1"
    assert ("operations", "tamponade_in", "air") not in few
    assert ("patients", "sex", "male") not in few


def test_each_column_is_in_the_dictionary_with_its_codes(harbour: Site) -> None:
    files = files_of(harbour, Days.SINCE)
    told = {(row["table"], row["column"]): row for row in rows(files["dictionary.csv"])}
    for place, table in enumerate(TABLES, 1):
        headings = next(csv.reader(io.StringIO(files[f"{place:02}-{table.name}.csv"])))
        assert all((table.name, heading) in told for heading in headings), table.name
    assert "right = RIGHT" in told["eyes", "side"]["codes"]
    assert told["operations", "operation_day"]["kind"] == "Days since the person's first operation"


def test_what_was_entered_in_error_is_left_out(harbour: Site) -> None:
    assert len(list(rows_of(OPERATIONS, harbour, named()))) == 3


def test_more_people_take_more_rows_but_not_more_queries(
    harbour: Site, django_assert_max_num_queries: object
) -> None:
    for number in range(40):
        make_exam(eye=operated(make_patient(site=harbour, record_number=f"B{number}")))
    writer = unnamed(harbour, Days.SINCE)
    for table in (PATIENTS, EYES, OPERATIONS, VISITS):
        with django_assert_max_num_queries(3):  # type: ignore[operator]  # a fixture of the plugin
            told = list(rows_of(table, harbour, writer))
        assert len(told) > 40
        assert {len(row) for row in told} == {len(headings_of(table, writer))}
