"""Each row is judged against the records of the site: what it would do, and all that speaks against it."""

from __future__ import annotations

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from followup.domain.errors import BadValue
from followup.models import Exam, ImportBatch, Operation, OperationProcedure, Patient, Site, Visit
from tests import builders
from tests.interchange.sheets.helpers import log, log_map, look, outcomes, reasons, take_in

pytestmark = pytest.mark.django_db

GOOD = "0012,1960-01-01,R,2025-01-10,vitrectomy,oil,2025-02-10,6/9,14"


@pytest.mark.parametrize(
    ("row", "outcome", "column", "message"),
    [
        ("1,,R,2026-03-03,vitrectomy,gas,,,", "refused", "operated", "lies in the future"),
        ("1,,R,2025-01-10,vitrectomy,gas,2026-03-03,6/9,", "refused", "seen", "lies in the future"),
        (
            "1,1990-05-05,R,1980-01-01,vitrectomy,gas,,,",
            "refused",
            "operated",
            "before the birth on 1990-05-05",
        ),
        ("1,1990-05-05,R,,,,1980-01-01,6/9,", "refused", "seen", "before the birth"),
        ("1,,R,2025-05-01,oil_removal,none,,,", "refused", "done", "none is on record in the RIGHT eye of 1"),
        ("1,,both,2025-01-10,vitrectomy,gas,2025-02-10,6/9,", "human", "eye", "a row for each eye"),
        ("1,,R,2025-01-10,vitrectomy,gas,2025-02-10,0.5,", "human", "va", "does not tell its scale"),
        ("1,,R,2025-01-10,vitrectomy,swimming pool,,,", "refused", "in", '"swimming pool" is not known here'),
        (",,R,2025-01-10,vitrectomy,gas,,,", "refused", "no", "no record number"),
        ("1,,,2025-01-10,vitrectomy,gas,,,", "refused", "eye", "does not say which eye"),
        ("1,,R,,vitrectomy,gas,2025-02-10,6/9,", "refused", "operated", "no date of the operation"),
        ("1,,R,2025-01-10,vitrectomy,gas,,6/9,", "refused", "", "without the day of the visit"),
        ("1,,R,2025-01-10,vitrectomy,gas,2025-02-10,6/9,14,spare", "refused", "", "More cells than headings"),
    ],
)
def test_a_bad_row_is_named_and_keeps_nobody_else_out(
    site: Site, row: str, outcome: str, column: str, message: str
) -> None:
    checked = take_in(site, log(GOOD, row))
    assert outcomes(checked) == ["new", outcome]
    [problem] = [one for one in checked.rows[1].problems if one["kind"] == outcome]
    assert problem["column"] == column
    assert message in problem["reason"]
    assert list(Patient.objects.values_list("record_number", flat=True)) == ["0012"]
    assert (Operation.objects.count(), Visit.objects.count(), Exam.objects.count()) == (1, 1, 1)


def test_a_row_says_all_its_problems_at_once(site: Site) -> None:
    checked = look(site, log("1,1990-31-01,left?,2030-01-10,vitrectomy,gas,2031-02-10,0.5,180"))
    named = [problem["column"] for problem in checked.rows[0].problems]
    assert named == ["born", "eye", "va", "iop", "operated", "seen"]


def test_a_file_without_a_column_of_its_map_is_refused_and_nothing_is_kept(site: Site) -> None:
    with pytest.raises(BadValue, match='needs the column "born"') as refusal:
        take_in(site, b"no,eye\n1,R\n")
    assert "It has: no, eye." in refusal.value.message
    assert not ImportBatch.objects.exists()


def test_an_unreadable_file_keeps_nothing(site: Site) -> None:
    with pytest.raises(BadValue, match="not a table"):
        take_in(site, b"%PDF-1.7")
    assert not ImportBatch.objects.exists()


def test_the_counts_add_up_to_the_rows_read(site: Site) -> None:
    checked = look(
        site, log(GOOD, GOOD, ",,,,,,,,", "2,,left?,2025-01-10,vitrectomy,gas,,,", ",,R,2025-01-10,,,,,")
    )
    counts = checked.counts
    assert outcomes(checked) == ["new", "same", "ignored", "human", "refused"]
    assert counts["read"] == 5
    assert counts["read"] == counts["accepted"] + counts["human"] + counts["refused"] + counts["ignored"]
    assert counts["accepted"] == counts["new"] + counts["changed"] + counts["same"]


def test_two_rows_that_contradict_each_other_leave_the_second_to_a_person(site: Site) -> None:
    checked = look(site, log(GOOD, GOOD.replace("6/9", "6/60"), GOOD.replace(",14", ",30")))
    assert outcomes(checked) == ["new", "human", "human"]
    [reason] = reasons(checked, 4)
    assert reason.startswith("Row 2 says pressure 14 for the same exam, this row says 30.")


def test_rows_of_one_day_that_add_to_each_other_are_one_visit(site: Site) -> None:
    fellow = "0012,,L,,,,2025-02-10,6/6,15"
    checked = take_in(site, log(GOOD, fellow))
    assert outcomes(checked) == ["new", "new"]
    assert (Visit.objects.count(), Exam.objects.count()) == (1, 2)


def test_oil_put_in_by_a_later_row_of_the_file_may_be_taken_out(site: Site) -> None:
    removal = "0012,,R,2025-06-01,oil_removal,none,,,"
    assert outcomes(look(site, log(removal, GOOD))) == ["new", "new"]


def test_a_removal_falls_with_the_row_that_put_the_oil_in(site: Site) -> None:
    put_in, removal = GOOD.replace("6/9", "0.5"), "0012,,R,2025-06-01,oil_removal,none,,,"
    assert outcomes(look(site, log(put_in, removal))) == ["human", "refused"]


def test_oil_on_record_may_be_taken_out(site: Site) -> None:
    patient = builders.make_patient(site=site, record_number="7")
    builders.make_oil_operation(eye=builders.make_eye(patient=patient), date=date(2025, 1, 10))
    checked = look(site, log("7,,R,2025-06-01,oil_removal,none,,,", "7,,L,2025-06-01,oil_removal,none,,,"))
    assert outcomes(checked) == ["new", "refused"]


def test_two_operations_of_one_day_in_a_file_are_one_session(site: Site) -> None:
    rows = log(GOOD, "0012,,R,2025-01-10,scleral_buckle,oil,,,")
    checked = take_in(site, rows)
    assert outcomes(checked) == ["new", "new"]
    assert "one session, with the procedures of both" in reasons(checked, 3)[0]
    found = OperationProcedure.objects.order_by("procedure").values_list("procedure", flat=True)
    assert (list(found), Operation.objects.count()) == (["scleral_buckle", "vitrectomy"], 1)
    assert outcomes(take_in(site, rows)) == ["same", "same"]


def test_another_operation_on_an_eye_and_day_on_record_is_asked(site: Site) -> None:
    take_in(site, log(GOOD))
    for row in ("0012,,R,2025-01-10,scleral_buckle,oil,,,", "0012,,R,2025-01-10,vitrectomy,sf6,,,"):
        checked = look(site, log(row))
        assert outcomes(checked) == ["human"]
        assert "Is it the same one corrected, or a second one that day?" in reasons(checked, 2)[0]


def test_a_row_of_both_eyes_stands_for_an_operation_on_each(site: Site) -> None:
    rows = log("0012,,both,2025-01-10,vitrectomy,gas,,,")
    assert take_in(site, rows).counts["operations"] == 2
    assert list(Operation.objects.order_by("eye__side").values_list("eye__side", flat=True)) == [
        "left",
        "right",
    ]
    assert outcomes(take_in(site, rows)) == ["same"]


def test_a_column_with_dates_of_both_orders_trusts_none_that_fits_both(site: Site) -> None:
    column_map = log_map(
        columns=[
            {"column": "no", "target": "record_number"},
            {"column": "eye", "target": "side"},
            {"column": "operated", "target": "operation_date", "date_order": "day_first"},
        ],
        shape="operations",
    )
    rows = b"no,eye,operated\n1,R,13/02/2024\n2,R,02/13/2024\n3,R,03/04/2024\n"
    checked = look(site, rows, column_map)
    assert outcomes(checked) == ["new", "refused", "human"]
    assert "its column has dates of both kinds" in reasons(checked, 4)[0]


def test_what_was_marked_in_error_does_not_come_back_unseen(site: Site) -> None:
    take_in(site, log(GOOD))
    Operation.objects.update(in_error=True)
    Visit.objects.update(in_error=True)
    checked = look(site, log(GOOD))
    assert outcomes(checked) == ["human"]
    assert reasons(checked, 2) == [
        "An operation on 2025-01-10 was marked as entered in error.",
        "A visit on 2025-02-10 was marked as entered in error.",
    ]


def test_nobody_is_seen_after_death_or_born_after_being_seen(site: Site) -> None:
    take_in(site, log(GOOD))
    Patient.objects.update(died_on=date(2025, 6, 1), birth_date=None)
    checked = look(site, log("0012,,R,,,,2025-07-01,6/9,", "0012,2025-02-01,R,,,,,,"))
    assert outcomes(checked) == ["refused", "refused"]
    assert "after the death on 2025-06-01" in reasons(checked, 2)[0]
    assert "after the first record of 2025-01-10" in reasons(checked, 3)[0]


def test_record_numbers_that_look_alike_stay_apart_and_are_pointed_out(site: Site) -> None:
    builders.make_patient(site=site, record_number="00012")
    checked = look(
        site, log(*(f"{number},,R,2025-01-10,vitrectomy,gas,,," for number in ("0012", "012", "7")))
    )
    assert outcomes(checked) == ["new", "new", "new"]
    assert reasons(checked, 2) == ["Looks like 00012, 012, and is kept apart from it."]
    assert reasons(checked, 4) == []


def test_time_after_surgery_counts_from_the_only_operation_on_record(site: Site) -> None:
    column_map = log_map(
        columns=[
            {"column": "no", "target": "record_number"},
            {"column": "eye", "target": "side"},
            {"column": "weeks", "target": "visit_offset", "unit": "weeks"},
            {"column": "va", "target": "acuity"},
        ]
    )
    for number, days in (("1", [date(2025, 1, 1)]), ("2", [date(2025, 1, 1), date(2025, 3, 1)]), ("3", [])):
        eye = builders.make_eye(patient=builders.make_patient(site=site, record_number=number))
        for day in days:
            builders.make_operation(eye=eye, date=day)
    checked = take_in(site, b"no,eye,weeks,va\n1,R,2,6/9\n2,R,2,6/9\n3,R,2,6/9\n", column_map)
    assert outcomes(checked) == ["new", "human", "refused"]
    assert list(Visit.objects.values_list("day", flat=True)) == [date(2025, 1, 15)]


def test_both_eyes_in_one_row_go_to_their_own_eye(site: Site) -> None:
    column_map = log_map(
        columns=[
            {"column": "no", "target": "record_number"},
            {"column": "seen", "target": "visit_date", "date_order": "iso"},
            {"column": "va r", "target": "acuity", "side": "right"},
            {"column": "va l", "target": "acuity", "side": "left"},
        ]
    )
    take_in(site, b"no,seen,va r,va l\n1,2025-01-01,6/9,6/60\n2,2025-01-01,,6/6\n", column_map)
    found = Exam.objects.order_by("eye__patient__record_number", "-eye__side")
    assert [(exam.eye.side, exam.acuities.get().as_written) for exam in found] == [
        ("right", "6/9"),
        ("left", "6/60"),
        ("left", "6/6"),
    ]


def test_a_long_sheet_needs_no_more_queries_than_a_short_one(site: Site) -> None:
    def queries(count: int) -> int:
        rows = [f"{number},,R,2025-01-10,vitrectomy,gas,2025-02-10,6/9,14" for number in range(count)]
        with CaptureQueriesContext(
            connection,
        ) as found:
            look(site, log(*rows))
        return len(found)

    take_in(site, log(*(f"{number},,R,2025-01-10,vitrectomy,gas,2025-02-10,6/9,14" for number in range(40))))
    assert queries(2) == queries(40)
