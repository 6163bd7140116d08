"""One log with every fault that clinics' own spreadsheets have, each once: a row and what becomes of it.

The faults are those that published advice on spreadsheets and reports on readers of them name; the rows are
invented. 'New', 'changed' and 'same' are accepted; read = accepted + human + refused + ignored.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from datetime import date
from typing import Any

import openpyxl
import pytest
from openpyxl.styles import PatternFill

from followup.interchange.sheets.check import CheckedSheet
from followup.interchange.sheets.column_map import ColumnMap, accepted_map
from followup.models import AcuityReading, Exam, Operation, Patient, Site, Visit
from tests.interchange.sheets.helpers import look, reasons, take_in

pytestmark = pytest.mark.django_db

HEADINGS = (
    "no",
    "name",
    "born",
    "phone",
    "eye",
    "operated",
    "done",
    "in",
    "seen",
    "by",
    "va",
    "iop",
    "retina",
)
DULL: dict[str, Any] = {
    "name": "Vale, Orin",
    "eye": "R",
    "operated": "10.01.2024",
    "done": "vitrectomy",
    "in": "sf6",
    "seen": "20.02.2024",
}


@dataclass(frozen=True)
class Fault:
    """what: the fault; cells: of its row; outcome; says: part of the reason, "" where there is none."""

    what: str
    cells: dict[str, Any]
    outcome: str
    says: str = ""


def _row(number: str, **cells: Any) -> dict[str, Any]:
    return {**DULL, "no": number, **cells}


FAULTS = (
    Fault("a fraction says what it is", _row("0101", va="6/60"), "new"),
    Fault("counting fingers", _row("0102", va="CF 1m"), "new"),
    Fault("no light perception in the other word order", _row("0103", va="NPL"), "new"),
    Fault("a number alone: no scale is named for the column", _row("0104", va="0.3"), "human", "logMAR 0.3"),
    Fault("letters or something else", _row("0105", va="85"), "human", "letters 85"),
    Fault("a percentage", _row("0106", va="70%"), "human", "percentage"),
    Fault("a fraction became a date", _row("0107", va=date(2024, 6, 9)), "human", "may be 6/9"),
    Fault("a fraction became a month", _row("0108", va=date(1936, 6, 1)), "human", "may be 6/36"),
    Fault("a fraction became a number", _row("0109", va="22068"), "human", "may be 6/60"),
    Fault("a fraction with the wrong stroke", _row("0110", va="6\\9"), "human", "no slash"),
    Fault("a fraction with spaces", _row("0111", va="6 / 9"), "new"),
    Fault("a date that cannot be day first", _row("0112", operated="01.13.2024"), "refused", "no month 13"),
    Fault("a date became a number", _row("0113", operated="45292"), "human", "may be 2024-01-01"),
    Fault(
        "a birth year of two centuries", _row("0114", born="03.04.24"), "human", "1924-04-03 or 2024-04-03"
    ),
    Fault("a surgery year of two digits", _row("0115", operated="10.01.24"), "new"),
    Fault("another calendar", _row("0116", operated="1445-06-28"), "human", "the Hijri calendar"),
    Fault(
        "oil out before it went in",
        _row("0117", done="oil removal", **{"in": "none"}),
        "refused",
        "none is on record",
    ),
    Fault("seen before birth", _row("0118", born="01.05.2024"), "refused", "before the birth on 2024-05-01"),
    Fault("a side marked as unsure", _row("0119", eye="left?"), "human", "does not tell right from left"),
    Fault("a code for a side", _row("0120", eye="1"), "human", "which side it means"),
    Fault("both eyes and one finding", _row("0121", eye="OU", va="6/9"), "human", "a row for each eye"),
    Fault("both eyes operated on", _row("0122", eye="both", seen=""), "new"),
    Fault("no side", _row("0123", eye=""), "refused", "does not say which eye"),
    Fault("a side in free text", _row("0124", eye="vit R eye, oil, ILM"), "human", "seems to mean the right"),
    Fault(
        "procedures in free text",
        _row("0125", done="vitrectomy R eye for hole"),
        "human",
        "Write each in words",
    ),
    Fault("Arabic-Indic digits", _row("٠١٢٦", va="٦/٩", operated="١٠.٠١.٢٠٢٤"), "new"),
    Fault("turned round by writing from the right", _row("0127", va="60/6"), "human", "turned round"),
    Fault("a decimal comma, and still no scale", _row("0128", va="0,5"), "human", "decimal 0.5"),
    Fault("a letter for a digit", _row("O129"), "human", "a letter where a digit may be meant"),
    Fault("invisible marks", _row("\u200f0130\u00a0", va="\uff16/\uff19"), "new", "Looks like 130"),
    Fault("zeros lost", _row("130"), "new", "Looks like 0130"),
    Fault("digits lost", _row("1.23E+11"), "refused", "its digits are gone"),
    Fault(
        "two telephones in a cell",
        _row("0131", phone="07700 900012 / 07700 900013 (son)"),
        "new",
    ),
    Fault("the same row twice", _row("0131", phone="07700 900012 / 07700 900013 (son)"), "same"),
    Fault("a second operation that day", _row("0131", done="scleral buckle"), "new", "one session"),
    Fault("a word for missing", _row("0132", va="nil"), "human", "NLP"),
    Fault("initials that look missing", _row("0133", name="NA", va="n/a"), "new"),
    Fault("no pressure is no reading", _row("0134", iop="0"), "human", "Was it measured?"),
    Fault("two pressures", _row("0135", iop="18/20"), "human", "right and the left eye"),
    Fault("pressure in a word", _row("0136", iop="soft"), "new"),
    Fault("pressure beyond the scale", _row("0137", iop="180"), "human", "not between 1 and 80"),
    Fault("attached, and somebody looked", _row("0138", retina="attached", by="OV"), "new"),
    Fault(
        "attached, carried forward",
        _row("0138", retina="attached", seen="20.03.2024"),
        "new",
        "taken as not examined",
    ),
    Fault("a formula that failed", _row("0139", va="#REF!"), "refused", "#REF!"),
    Fault("a formula in text", _row("0140", va="=6/9"), "refused", "formula without a result"),
    Fault("a blank row", {}, "ignored", "blank"),
    Fault("a group's heading", {"no": "Operations of 2024"}, "ignored", "a heading"),
    Fault("first of two merged cells", _row("0141", va="6/9"), "new"),
    Fault("second of two merged cells", _row("", seen="21.02.2024", va="6/12"), "new"),
    Fault("no record number, and not merged", _row("", va="6/9"), "refused", "belongs to nobody"),
    Fault("colour as data", _row("0142"), "new"),
    Fault("a hidden row", _row("0143"), "new"),
    Fault("a total", {"no": "Total 46"}, "ignored", "a total"),
)


def _workbook() -> bytes:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["Vitreoretinal log, second half"])
    sheet.append([])
    sheet.append(HEADINGS)
    for fault in FAULTS:
        sheet.append([fault.cells.get(heading) for heading in HEADINGS])
    sheet.merge_cells(f"A{_number('first of two merged cells')}:A{_number('second of two merged cells')}")
    sheet[f"A{_number('colour as data')}"].fill = PatternFill("solid", fgColor="FFFF0000")
    sheet.row_dimensions[_number("a hidden row")].hidden = True
    sheet.column_dimensions["B"].hidden = True
    sheet[f"K{_number('a formula that failed')}"].data_type = "e"
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _number(what: str) -> int:
    return next(place for place, fault in enumerate(FAULTS, start=4) if fault.what == what)


def _map() -> ColumnMap:
    targets = {
        "no": "record_number",
        "name": "name",
        "born": "birth_date",
        "phone": "phone",
        "eye": "side",
        "operated": "operation_date",
        "done": "procedures",
        "in": "tamponade_in",
        "seen": "visit_date",
        "by": "examiner",
        "va": "acuity",
        "iop": "pressure",
        "retina": "retina",
    }
    extra = {heading: {"date_order": "day_first"} for heading in ("born", "operated", "seen")}
    extra["phone"] = {"calling_code": "44"}
    columns = [{"column": name, "target": targets[name], **extra.get(name, {})} for name in HEADINGS]
    return accepted_map({"shape": "visits", "columns": columns})


@pytest.fixture
def checked(site: Site) -> CheckedSheet:
    return look(site, _workbook(), _map())


def test_each_fault_has_its_outcome_and_its_reason(checked: CheckedSheet) -> None:
    found = {row.number: row.outcome for row in checked.rows}
    assert [(fault.what, found[number]) for number, fault in enumerate(FAULTS, start=4)] == [
        (fault.what, fault.outcome) for fault in FAULTS
    ]
    for number, fault in enumerate(FAULTS, start=4):
        said = " ".join(reasons(checked, number))
        assert fault.says in said if fault.says else not said, (fault.what, said)


def test_every_row_read_is_accounted_for(checked: CheckedSheet) -> None:
    counts = checked.counts
    assert counts["read"] == len(FAULTS) == 53
    assert counts["read"] == counts["accepted"] + counts["human"] + counts["refused"] + counts["ignored"]
    assert counts["accepted"] == sum(fault.outcome in ("new", "same") for fault in FAULTS)


def test_what_the_workbook_hides_is_said(checked: CheckedSheet) -> None:
    assert list(checked.notes[:4]) == [
        f"Hidden in the workbook, and read all the same: rows {_number('a hidden row')}.",
        "Hidden in the workbook, and read all the same: columns 2.",
        "1 cells are coloured. Colours are not read: if one means something, write it in a column.",
        "The headings were found in row 3; what stands above them is left out.",
    ]


def test_only_what_was_accepted_is_written_and_a_second_time_nothing(site: Site) -> None:
    first = take_in(site, _workbook(), _map())
    assert Patient.objects.count() == first.counts["patients"]
    assert Patient.objects.get(record_number="0131").phone == "+447700900012"
    assert Operation.objects.filter(eye__patient__record_number="0122").count() == 2
    assert AcuityReading.objects.get(exam__eye__patient__record_number="0126").as_written == "6/9"
    assert Exam.objects.filter(visit__day=date(2024, 3, 20)).get().retina == "not_examined"
    assert Visit.objects.filter(patient__record_number="0141").count() == 2
    again = take_in(site, _workbook(), _map())
    assert (again.counts["new"], again.counts["changed"]) == (0, 0)
    assert again.counts["same"] == first.counts["accepted"]
