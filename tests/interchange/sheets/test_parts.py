"""A long sheet goes in part by part: it can be stopped, gone on with after a crash, and undone as a whole."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from followup.domain.errors import Refused
from followup.interchange.sheets import parts, people
from followup.interchange.sheets.apply import check_import, take_sheet
from followup.interchange.sheets.parts import write_in_parts
from followup.jobs.imports import run_imports
from followup.models import AcuityReading, Change, Eye, ImportBatch, Operation, PageRead, Patient, Site, Visit
from followup.services.import_jobs import LEASE, claim_import, queue_import, stop_import
from followup.services.import_undo import undo_import
from followup.services.pathway import verify
from followup.services.people import change_patient
from tests.builders import NOW, TODAY, make_staff
from tests.interchange.sheets.helpers import log, log_map, outcomes, take_in

pytestmark = pytest.mark.django_db

PEOPLE = 25
ROWS = tuple(
    f"{number:04},,R,2025-01-10,vitrectomy,oil,2025-{month:02}-20,6/9,14"
    for month in (2, 3)
    for number in range(PEOPLE)
)


def clock() -> datetime:
    return NOW


@pytest.fixture(autouse=True)
def small_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(people, "PART", 10)


@pytest.fixture
def batch(site: Site) -> ImportBatch:
    batch = take_sheet(by=None, now=NOW, site=site, file_name="log.csv", content=log(*ROWS))
    check_import(today=TODAY, batch=batch, column_map=log_map())
    return queue_import(by=None, now=NOW, batch=batch)


def test_the_worker_writes_what_waits_and_every_eye_is_planned(batch: ImportBatch) -> None:
    assert run_imports() == 1
    batch.refresh_from_db()
    assert (batch.state, batch.rows_done, batch.lease_until) == ("applied", 50, None)
    assert (Patient.objects.count(), Operation.objects.count(), Visit.objects.count()) == (25, 25, 50)
    assert list(verify()) == []
    assert run_imports() == 0


def test_it_comes_to_the_same_as_written_at_once(batch: ImportBatch, site: Site) -> None:
    run_imports()
    assert set(outcomes(take_in(site, log(*ROWS)))) == {"same"}


def test_a_crash_loses_no_part_and_writes_none_twice(
    batch: ImportBatch, monkeypatch: pytest.MonkeyPatch
) -> None:
    write = parts._write
    written = []

    def break_in_the_third(*given: object) -> None:
        written.append(given)
        if len(written) == 3:
            raise KeyboardInterrupt
        write(*given)  # type: ignore[arg-type]  # handed on as they came

    monkeypatch.setattr(parts, "_write", break_in_the_third)
    claimed = claim_import(now=NOW)
    assert claimed is not None
    with pytest.raises(KeyboardInterrupt):
        write_in_parts(batch=claimed, clock=clock, today=TODAY)
    batch.refresh_from_db()
    assert (batch.state, batch.rows_done, Patient.objects.count()) == ("writing", 20, 10)
    assert claim_import(now=NOW) is None
    later = NOW + LEASE + timedelta(seconds=1)
    again = claim_import(now=later)
    assert again is not None
    write_in_parts(batch=again, clock=lambda: later, today=TODAY)
    batch.refresh_from_db()
    assert (batch.state, Patient.objects.count(), Visit.objects.count()) == ("applied", 25, 50)


def test_it_stops_when_told_and_goes_on_when_told(batch: ImportBatch) -> None:
    claimed = claim_import(now=NOW)
    assert claimed is not None
    asked = []

    def stop_after_two() -> datetime:
        asked.append(1)
        if len(asked) == 7:
            stop_import(by=None, now=NOW, batch=batch)
        return NOW

    write_in_parts(batch=claimed, clock=stop_after_two, today=TODAY)
    batch.refresh_from_db()
    assert batch.state == "stopped"
    assert 0 < batch.rows_done < 50
    assert run_imports() == 0
    queue_import(by=None, now=NOW, batch=batch)
    run_imports()
    batch.refresh_from_db()
    assert (batch.state, Visit.objects.count()) == ("applied", 50)


def test_it_stops_itself_where_a_row_would_do_something_else(batch: ImportBatch, site: Site) -> None:
    take_in(site, log(ROWS[12]))
    run_imports()
    batch.refresh_from_db()
    assert (batch.state, batch.rows_done) == ("stopped", 20)
    assert "Row 14 would now do something else" in batch.problem


def test_a_long_wait_gives_way_to_what_else_is_to_be_done(batch: ImportBatch) -> None:
    claimed = claim_import(now=NOW)
    assert claimed is not None
    times = iter([NOW, NOW, NOW, NOW, *[NOW + timedelta(minutes=6)] * 9])
    write_in_parts(batch=claimed, clock=lambda: next(times), today=TODAY)
    batch.refresh_from_db()
    assert (batch.state, batch.lease_until, batch.rows_done > 0) == ("writing", None, True)


def test_undone_nothing_is_left_of_it_but_the_file_and_the_history(batch: ImportBatch, site: Site) -> None:
    run_imports()
    batch.refresh_from_db()
    undo_import(by=None, now=NOW, batch=batch)
    models = (Patient, Eye, Operation, Visit, AcuityReading)
    assert [model._default_manager.count() for model in models] == [0] * 5
    batch.refresh_from_db()
    assert (batch.state, batch.rows.count()) == ("undone", 50)
    assert Change.objects.latest("id").verb == "undo_import"
    assert set(outcomes(take_in(site, log(*ROWS)))) == {"new"}
    assert list(verify()) == []


def test_what_an_import_changed_is_as_before(site: Site) -> None:
    take_in(site, log(ROWS[0]))
    before = list(AcuityReading.objects.values("as_written", "logmar", "category"))
    take_in(site, log(ROWS[0].replace("6/9", "HM"), ROWS[1]))
    assert AcuityReading.objects.filter(as_written="HM").exists()
    undo_import(by=None, now=NOW, batch=ImportBatch.objects.latest("id"))
    assert list(AcuityReading.objects.values("as_written", "logmar", "category")) == before
    assert list(Patient.objects.values_list("record_number", flat=True)) == ["0000"]
    assert list(verify()) == []


def test_once_something_was_built_on_it_it_stays_and_says_what(site: Site) -> None:
    take_in(site, log(*ROWS[:2]))
    batch = ImportBatch.objects.get()
    patient = Patient.objects.get(record_number="0001")
    change_patient(by=None, now=NOW, patient=patient, phone="555 0100")
    with pytest.raises(Refused, match=r"0001: change patient on 2 Mar 2026\. Mark what is wrong"):
        undo_import(by=None, now=NOW, batch=batch)
    assert Patient.objects.count() == 2


def test_a_later_file_about_the_same_people_is_built_on_it(site: Site) -> None:
    take_in(site, log(ROWS[0]))
    batch = ImportBatch.objects.get()
    take_in(site, log(ROWS[0], ROWS[PEOPLE]))
    with pytest.raises(Refused, match=r"0000: visit of log\.csv"):
        undo_import(by=None, now=NOW, batch=batch)
    undo_import(by=None, now=NOW, batch=ImportBatch.objects.latest("id"))
    undo_import(by=None, now=NOW, batch=batch)
    assert not Patient.objects.exists()


def test_somebody_whose_page_was_opened_stays_without_the_records(site: Site) -> None:
    take_in(site, log(*ROWS[:2]))
    patient = Patient.objects.get(record_number="0000")
    PageRead.objects.create(at=NOW, by=make_staff(site=site), patient=patient, page="/patients/1/")
    undo_import(by=None, now=NOW, batch=ImportBatch.objects.get())
    assert list(Patient.objects.all()) == [patient]
    assert not Operation.objects.exists()
    assert not Eye.objects.exists()


def test_what_a_row_would_change_is_shown_field_by_field(site: Site) -> None:
    take_in(site, log(ROWS[0]))
    batch = take_sheet(
        by=None, now=NOW, site=site, file_name="log.csv", content=log(ROWS[0].replace("6/9,14", "HM,20"))
    )
    check_import(today=TODAY, batch=batch, column_map=log_map())
    row = batch.rows.get()
    assert row.outcome == "changed"
    assert [problem["reason"] for problem in row.problems] == [
        "Exam, pressure: from 14 to 20.",
        "Acuity, acuity: from 6/9 to HM.",
        "Acuity, notation: from snellen_metre to category.",
        "Acuity, logmar: from 0.1761 to .",
        "Acuity, category: from nothing to hand_movements.",
    ]
