"""Cells become values by the rule of their column, or are refused or left to a person with the reason."""

from __future__ import annotations

import contextlib
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.domain.acuity.notation import Notation
from followup.interchange.sheets.cells import Cell, CellProblem
from followup.interchange.sheets.columns import CATALOGUE
from followup.interchange.sheets.dates import DateStyle, days_after, from_serial
from followup.interchange.sheets.values import CellRule

TODAY = date(2026, 3, 2)


def read(target: str, cell: Cell, **rule: object) -> dict[str, object]:
    return CATALOGUE[target].read(cell, CellRule(today=TODAY, **rule))  # type: ignore[arg-type]  # any rule


@pytest.mark.parametrize(
    ("target", "cell", "fields"),
    [
        ("record_number", " 0012 ", {"record_number": "0012"}),
        ("record_number", "\u0660\u0660\u0661\u0662", {"record_number": "0012"}),
        ("record_number", "\u200b0012", {"record_number": "0012"}),
        ("name", "Rossi, Ada", {"family_name": "Rossi", "given_name": "Ada"}),
        ("family_name", "NA", {"family_name": "NA"}),
        ("side", "O.D.", {"side": "right"}),
        ("side", "Links", {"side": "left"}),
        ("side", "اليسرى", {"side": "left"}),
        ("sex", "w", {"sex": "female"}),
        ("age", "73", {"age_stated": 73}),
        ("axial_length_mm", "29,4 mm", {"axial_length_mm": Decimal("29.40")}),
        ("procedures", "Vitrectomy; ILM peel", {"procedures": frozenset({"vitrectomy", "ilm_peel"})}),
        ("procedures", "oil_removal", {"procedures": frozenset({"oil_removal"}), "takes_out": True}),
        ("tamponade_in", "Silikonöl", {"tamponade_in": "oil"}),
        ("tamponade_in", "unknown", {}),
        ("tamponade_in", "none", {"tamponade_in": "none"}),
        ("tamponade_in", "NA", {}),
        ("takes_out", "yes", {"takes_out": True}),
        ("pressure", "14 mmHg", {"pressure_mmhg": 14, "pressure_text": ""}),
        ("pressure", "soft", {"pressure_mmhg": None, "pressure_text": "soft"}),
        ("pressure", "ND", {}),
        ("visit_offset", "28", {"offset": 28}),
        ("acuity", "not done", {}),
    ],
)
def test_a_cell_becomes_values(target: str, cell: Cell, fields: dict[str, object]) -> None:
    assert read(target, cell) == fields


@pytest.mark.parametrize(
    ("target", "cell", "outcome", "message"),
    [
        ("record_number", "1.23E+11", "refused", "its digits are gone"),
        ("record_number", "O017", "human", "a letter where a digit may be meant"),
        ("side", "R and L", "human", "names both sides"),
        ("side", "vit R eye, oil, ILM", "human", "seems to mean the right eye"),
        ("procedures", "vitrectomy with oil, ILM", "human", "seems to say vitrectomy"),
        ("record_number", "1234567890123450", "human", "more than 15 digits"),
        ("family_name", "Ash\x07grove", "refused", "U+0007"),
        ("visit_date", "1403/06/15", "human", "the solar Hijri or the Hijri calendar"),
        ("visit_date", "1446-02-01", "human", "the Hijri calendar"),
        ("visit_date", "06/09/2567", "human", "the Buddhist calendar"),
        ("phone", "ask the son", "human", "holds no telephone number"),
        ("acuity", "9-Jun", "human", "may be 6/9"),
        ("acuity", "06-Sep", "human", "may be 6/9"),
        ("acuity", "Jun-36", "human", "may be 6/36"),
        ("acuity", "4-Jun", "human", "may be 6/4 or 4/6"),
        ("side", "1", "human", "Say in the map which side"),
        ("side", "left?", "human", "does not tell right from left"),
        ("sex", "3", "refused", "Give it a meaning in the map"),
        ("tamponade_in", "oil?", "human", "marked as unsure"),
        ("age", ">80", "human", "not a whole number of years"),
        ("age", "150", "human", "not between 0 and 120"),
        ("axial_length_mm", "2.94", "human", "not between 15 and 40"),
        ("pressure", "0", "human", "Was it measured?"),
        ("pressure", "180", "human", "not between 1 and 80"),
        ("pressure", "18/20", "human", "may be the right and the left eye"),
        ("pressure", "nil", "human", "Write whole mmHg"),
        ("birth_date", "31/09/1950", "refused", "There is no 31 September 1950"),
        ("birth_date", "2030-01-01", "refused", "in the future"),
        ("birth_date", "1950", "human", "not a whole birth date"),
        ("operation_date", "03/04/2024", "human", "day first or month first"),
        ("operation_date", "2024-09", "human", "not a whole date"),
        ("operation_date", "45541", "human", "2024-09-06"),
        ("operation_date", "unknown", "human", "four-digit year"),
        ("operation_date", "10", "refused", "four-digit year"),
        ("visit_offset", "2 weeks", "human", "not a number of days"),
        ("visit_offset", "999999", "human", "more than a hundred years"),
        ("acuity", "1.0", "human", "does not tell its scale"),
        ("acuity", "-9", "refused", "code for a missing value"),
        ("acuity", "nil", "human", "can mean no light"),
        ("acuity", date(2024, 6, 9), "human", "6/9"),
        ("acuity", date(1936, 6, 1), "human", "6/36"),
        ("acuity", "45452", "human", "6/9"),
        ("acuity", "#REF!", "refused", "formula that failed"),
        ("acuity", "=EDATE(B2,3)", "refused", "without a result"),
        ("email", "nobody", "human", "not one e-mail address"),
    ],
)
def test_what_cannot_be_used_says_why(target: str, cell: Cell, outcome: str, message: str) -> None:
    with pytest.raises(CellProblem) as problem:
        read(target, cell)
    assert problem.value.outcome == outcome
    assert message in problem.value.message


def test_codes_of_a_column_stand_for_what_its_map_says() -> None:
    codes = {"0": "right", "1": "left", "9": ""}
    assert [read("side", cell, codes=codes) for cell in ("0", "1", "9", "OS")] == [
        {"side": "right"},
        {"side": "left"},
        {},
        {"side": "left"},
    ]


def test_partly_known_dates_are_kept_at_their_precision_where_the_map_takes_them() -> None:
    found = read("operation_date", "Sept 2024", partial_dates=True)
    assert found == {"date": date(2024, 9, 1), "date_precision": "month"}


@pytest.mark.parametrize(
    ("target", "text", "day"),
    [
        ("operation_date", "12/05/24", date(2024, 5, 12)),
        ("operation_date", "12/05/98", date(1998, 5, 12)),
        ("birth_date", "12/05/68", date(1968, 5, 12)),
        ("birth_date", "07/07/30", date(1930, 7, 7)),
    ],
)
def test_two_digit_years_lie_in_the_last_hundred_years(target: str, text: str, day: date) -> None:
    assert day in read(target, text, dates=DateStyle("day_first")).values()


def test_a_birth_year_that_fits_two_centuries_is_asked() -> None:
    with pytest.raises(CellProblem, match="can be 1924-12-31 or 2024-12-31"):
        read("birth_date", "31/12/24", dates=DateStyle("day_first"))


@pytest.mark.parametrize(
    ("text", "unit", "days"),
    [
        ("28", "days", 28),
        ("2", "weeks", 14),
        ("8", "months", 244),
        ("46.23", "months", 1407),
        ("0.3", "months", 9),
    ],
)
def test_months_are_30_4375_days_and_halves_go_up(text: str, unit: str, days: int) -> None:
    """8 x 30.4375 = 243.5, which is 244."""
    assert days_after(text, unit) == days  # type: ignore[arg-type]  # a unit by name


def test_serial_dates_count_from_the_end_of_1899() -> None:
    assert from_serial(45541) == date(2024, 9, 6)
    assert from_serial(61) == date(1900, 3, 1)


@given(st.text(max_size=12))
def test_no_text_at_all_breaks_a_reader(text: str) -> None:
    for column in CATALOGUE.values():
        with contextlib.suppress(CellProblem):
            column.read(text, CellRule(today=TODAY))


@pytest.mark.parametrize(
    ("text", "calling_code", "phone", "rest"),
    [
        ("07700 900012", "44", "+447700900012", {}),
        ("+44 (0)7700 900012", "", "+447700900012", {}),
        ("0044 7700 900012", "1", "+447700900012", {}),
        ("07700 900012", "", "07700 900012", {}),
        ("٠٧٧٠٠٩٠٠٠١٢", "44", "+447700900012", {}),
        (
            "07700 900012 / 07700 900013 (son)",
            "44",
            "+447700900012",
            {"contact_note": "Telephone as written: 07700 900012 / 07700 900013 (son)"},
        ),
    ],
)
def test_the_first_telephone_number_is_kept_and_whose_it_is_noted(
    text: str, calling_code: str, phone: str, rest: dict[str, str]
) -> None:
    assert read("phone", text, calling_code=calling_code) == {"phone": phone, **rest}


def test_serial_numbers_count_from_the_day_that_the_workbook_says() -> None:
    with pytest.raises(CellProblem, match="may be 2024-01-01"):
        read("visit_date", "45292")
    with pytest.raises(CellProblem, match="may be 2024-01-01"):
        read("visit_date", "43830", dates=DateStyle(dates_1904=True))


def test_a_fraction_that_became_a_date_is_proposed_as_its_spreadsheet_wrote_dates() -> None:
    for day, order, fraction in [
        (date(2024, 6, 9), None, "6/9"),
        (date(2024, 9, 6), None, "6/9"),
        (date(2024, 6, 9), "month_first", "6/9"),
        (date(2024, 4, 6), "day_first", "6/4"),
        (date(1936, 6, 1), None, "6/36"),
    ]:
        with pytest.raises(CellProblem, match=f"may be {fraction},"):
            read("acuity", day, dates=DateStyle(order))


@pytest.mark.parametrize(
    ("cell", "order", "fraction"),
    [
        (date(2024, 6, 9), None, "6/9"),
        (date(2024, 9, 6), "day_first", "6/9"),
        (date(2024, 5, 6), "day_first", "6/5"),
        (date(2024, 5, 6), "month_first", "5/6"),
        ("12-Jun", None, "6/12"),
        ("Jun-36", None, "6/36"),
        ("45452", None, "6/9"),
    ],
)
def test_dates_that_a_person_says_are_fractions_are_taken_so_and_marked(
    cell: object, order: str | None, fraction: str
) -> None:
    found = read("acuity", cell, dates=DateStyle(order), recovered=True)["reading"]
    assert (found.as_written, found.logmar_4dp) == (fraction, read("acuity", fraction)["reading"].logmar_4dp)
    assert found.approximate
    assert found.note.startswith("Recovered: a spreadsheet had made the date")


def test_a_date_that_may_be_two_fractions_stays_a_question_until_its_order_is_known() -> None:
    with pytest.raises(CellProblem, match="may be 5/6 or 6/5"):
        read("acuity", date(2024, 5, 6), recovered=True)
    with pytest.raises(CellProblem, match="is a date, not an acuity"):
        read("acuity", date(2024, 8, 30), recovered=True)


def test_a_calculated_fraction_is_a_decimal_with_a_note() -> None:
    reading = read("acuity", "0.6667", notation=Notation.DECIMAL)["reading"]
    assert (reading.logmar_4dp, reading.note.split(";")[0]) == (
        Decimal("0.1761"),
        "A spreadsheet makes 0.6667 of 6/9",
    )
