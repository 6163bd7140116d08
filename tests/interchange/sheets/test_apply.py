"""A sheet is written whole or not at all, once, with its source, and as it was shown."""

from __future__ import annotations

from datetime import date

import pytest

from followup.domain.errors import Refused
from followup.interchange.sheets.apply import check_import, confirm_import, take_sheet
from followup.models import (
    AcuityReading,
    Change,
    Course,
    Exam,
    Eye,
    Fill,
    ImportBatch,
    ImportRow,
    Operation,
    Patient,
    Site,
    Visit,
)
from followup.services.imports import discard_import, save_column_map
from followup.services.pathway import verify
from tests.builders import NOW, TODAY
from tests.interchange.sheets.helpers import log, log_map, look, outcomes, take_in

pytestmark = pytest.mark.django_db

ROWS = (
    "0012,1960-01-01,R,2025-01-10,vitrectomy,oil,2025-02-10,6/9,14",
    "0012,,R,2025-06-10,oil_removal,none,2025-07-10,6/12,soft",
    "0013,,L,2025-03-01,vitrectomy,sf6,2025-03-08,HM,",
)


def _batch(site: Site, content: bytes) -> ImportBatch:
    return take_sheet(by=None, now=NOW, site=site, file_name="log.csv", content=content)


def test_records_carry_the_row_they_came_from(site: Site) -> None:
    take_in(site, log(*ROWS))
    reading = AcuityReading.objects.get(as_written="6/12")
    source = reading.source_row
    assert source is not None
    assert (source.number, source.cells["va"], source.batch.file_name) == (3, "6/12", "log.csv")
    for model in (Patient, Operation, Visit, Exam, AcuityReading):
        assert not model._default_manager.filter(source_row=None).exists()


def test_eyes_are_planned_as_the_facts_say(site: Site) -> None:
    take_in(site, log(*ROWS))
    right = Eye.objects.get(side="right")
    assert list(Fill.objects.filter(eye=right).values_list("placed_on", "ended_on")) == [
        (date(2025, 1, 10), date(2025, 6, 10))
    ]
    assert Course.objects.count() == 3
    assert list(verify()) == []


def test_the_same_file_twice_changes_nothing(site: Site) -> None:
    take_in(site, log(*ROWS))
    models = (Patient, Eye, Operation, Visit, Exam, AcuityReading)
    before = [list(model._default_manager.order_by("pk").values()) for model in models]
    checked = take_in(site, log(*ROWS))
    assert outcomes(checked) == ["same", "same", "same"]
    assert [list(model._default_manager.order_by("pk").values()) for model in models] == before
    assert list(Change.objects.order_by("id").values_list("verb", flat=True)) == [
        "import_sheet",
        "import_sheet",
    ]


def test_a_corrected_cell_changes_its_record_and_keeps_the_earlier_value(site: Site) -> None:
    take_in(site, log(*ROWS))
    checked = take_in(site, log(*ROWS[:2], ROWS[2].replace("HM", "CF 1m")))
    assert outcomes(checked) == ["same", "same", "changed"]
    change = Change.objects.get(verb="import_change")
    reading = AcuityReading.objects.get(exam__eye__side="left")
    assert (change.subject, change.subject_id, change.patient) == (
        "acuityreading",
        reading.pk,
        Patient.objects.get(record_number="0013"),
    )
    assert change.before == {"as_written": "HM", "category": "hand_movements"}
    assert change.after["as_written"] == reading.as_written == "CF 1m"


def test_a_blank_cell_never_wipes_out_what_is_known(site: Site) -> None:
    take_in(site, log(ROWS[0]))
    checked = take_in(site, log("0012,,R,2025-01-10,,,2025-02-10,,"))
    assert outcomes(checked) == ["same"]
    assert Patient.objects.get().birth_date == date(1960, 1, 1)
    assert Exam.objects.get().pressure_mmhg == 14


def test_checking_writes_no_record(site: Site) -> None:
    look(site, log(*ROWS))
    assert not ImportBatch.objects.exists()
    batch = _batch(site, log(*ROWS))
    check_import(today=TODAY, batch=batch, column_map=log_map())
    assert not Patient.objects.exists()
    assert [*ImportRow.objects.order_by("number").values_list("number", "outcome")] == [
        (2, "new"),
        (3, "new"),
        (4, "new"),
    ]


def test_what_is_confirmed_is_what_was_shown(site: Site) -> None:
    """Records that changed between check and confirm send the sheet back to be looked at again."""
    batch = _batch(site, log(*ROWS))
    check_import(today=TODAY, batch=batch, column_map=log_map())
    take_in(site, log(ROWS[0]))
    with pytest.raises(Refused, match="Check it again"):
        confirm_import(by=None, now=NOW, today=TODAY, batch=batch)
    assert Patient.objects.count() == 1
    check_import(today=TODAY, batch=batch, column_map=log_map())
    confirm_import(by=None, now=NOW, today=TODAY, batch=batch)
    assert Patient.objects.count() == 2


def test_a_sheet_is_written_once(site: Site) -> None:
    batch = _batch(site, log(*ROWS))
    with pytest.raises(Refused, match="Check it first"):
        confirm_import(by=None, now=NOW, today=TODAY, batch=batch)
    check_import(today=TODAY, batch=batch, column_map=log_map())
    confirm_import(by=None, now=NOW, today=TODAY, batch=batch)
    with pytest.raises(Refused, match="not waiting to be confirmed"):
        confirm_import(by=None, now=NOW, today=TODAY, batch=batch)
    batch.refresh_from_db()
    with pytest.raises(Refused, match="written already"):
        check_import(today=TODAY, batch=batch, column_map=log_map())
    with pytest.raises(Refused, match="stays on record"):
        discard_import(by=None, now=NOW, batch=batch)


def test_a_sheet_that_is_not_wanted_is_forgotten(site: Site) -> None:
    batch = _batch(site, log(*ROWS))
    discard_import(by=None, now=NOW, batch=batch)
    assert not ImportBatch.objects.exists()
    assert Change.objects.get().after["file_name"] == "log.csv"


def test_an_interruption_half_way_leaves_nothing(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(**_: object) -> None:
        raise RuntimeError("the power went")

    monkeypatch.setattr("followup.services.imports.replan_eyes", fail)
    with pytest.raises(RuntimeError, match="the power went"):
        take_in(site, log(*ROWS))
    assert not Patient.objects.exists()
    assert not ImportBatch.objects.exists()


def test_a_map_is_kept_under_its_name_and_replaced_under_it(site: Site) -> None:
    first = save_column_map(by=None, now=NOW, site=site, name="Log", definition={"shape": "visits"})
    second = save_column_map(by=None, now=NOW, site=site, name="Log", definition={"shape": "operations"})
    assert first.pk == second.pk
    assert Change.objects.latest("id").before == {"shape": "visits"}
    with pytest.raises(Refused, match="a name"):
        save_column_map(by=None, now=NOW, site=site, name=" ", definition={})
