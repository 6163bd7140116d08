"""Faults that people have reported in spreadsheets, cell by cell, against what each must become.

The files and EXPECTED_CELLS.csv beside them are invented; each reproduces one kind of fault.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from followup.domain.acuity.notation import Acuity, Notation
from followup.domain.errors import FollowUpError
from followup.interchange.sheets.cells import Cell, CellProblem
from followup.interchange.sheets.column_map import ColumnUse
from followup.interchange.sheets.markup import FRACTION
from followup.interchange.sheets.read import Sheet, read_sheet
from followup.interchange.sheets.recognise import recognise
from tests.builders import TODAY
from tests.interchange.sheets.helpers import SHEETS

FAULTS = SHEETS / "faults"
COLUMNS = {
    "record_no": {"target": "record_number"},
    "name": {"target": "name"},
    "initials": {"target": "family_name"},
    "eye": {"target": "side"},
    "operation_date": {"target": "operation_date"},
    "birth_date": {"target": "birth_date"},
    "removal_due": {"target": "visit_date"},
    "acuity": {"target": "acuity"},
    "pressure": {"target": "pressure"},
    "phone": {"target": "phone", "calling_code": "44"},
}
DAY_FIRST = frozenset(
    (
        "semicolon_decimal_comma.csv",
        "day_month_flip.csv",
        "two_digit_years.csv",
        "partial_dates.csv",
        "dates_mixed_kinds.xlsx",
    )
)
# A column of acuity in which a number alone has been declared to be decimal.
DECIMAL = frozenset(
    ("semicolon_decimal_comma.csv", "fraction_evaluated.csv", "arabic_digits.csv", "formulas.xlsx")
)
# The column says day or month first; the one date that fits both is asked, with no proposal.
NOT_PROPOSED = {("arabic_digits.csv", 4), ("fractions_became_dates.xlsx", 9)}
OUTCOMES = {"accepted": "accepted", "human": "human", "rejected": "refused", "missing": "missing"}


def _expected() -> Iterator[tuple[str, int, str, str, str]]:
    with (FAULTS / "EXPECTED_CELLS.csv").open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            if row["column"] in COLUMNS:
                yield row["file"], int(row["row"]), row["column"], row["expected"], row["outcome"]


def _sheet(name: str) -> Sheet:
    return read_sheet((FAULTS / name).read_bytes())


def _read(name: str, column: str, cell: Cell, mark: str = "") -> tuple[str, str]:
    """Outcome of the cell and its value as text, or what is asked of it."""
    order = "day_first" if name in DAY_FIRST else None
    use = ColumnUse.model_validate({"column": column, "date_order": order, **COLUMNS[column]})
    bare = Notation.DECIMAL if name in DECIMAL else None
    if mark == FRACTION:
        return "human", f"{cell} was calculated"
    try:
        fields = use.catalogued.read(cell, use.rule(today=TODAY, bare=bare))
    except CellProblem as problem:
        return problem.outcome, problem.message
    return ("accepted", _text(fields)) if fields else ("missing", "")


def _text(fields: dict[str, Any]) -> str:
    value = next(value for value in fields.values() if value not in (None, ""))
    if isinstance(value, Acuity):
        return str(value.logmar_4dp) if value.category is None else str(value.as_written)
    return value.isoformat() if isinstance(value, date) else str(value)


@pytest.mark.parametrize(("name", "row", "column", "expected", "outcome"), list(_expected()))
def test_each_cell_becomes_what_it_must(
    name: str, row: int, column: str, expected: str, outcome: str
) -> None:
    sheet = _sheet(name)
    [found] = [line for line in sheet.rows if line.number == row]
    cell = found.cells[sheet.headers.index(column)]
    if name == "merged_cells.xlsx" and outcome == "rejected":
        assert cell == ""
        return
    became, text = _read(name, column, cell, found.marks.get(sheet.headers.index(column), ""))
    assert became == OUTCOMES[outcome], text
    if outcome == "human" and expected and (name, row) not in NOT_PROPOSED:
        assert expected in text
    if outcome == "accepted" and column == "acuity" and name != "missing_words.csv":
        wanted = Decimal("0.1761" if expected in ("6/9", "0.6667") else expected)
        assert Decimal(text) == wanted
    elif outcome == "accepted" and column != "acuity":
        assert text == expected


def test_gaps_headings_and_totals_are_no_records() -> None:
    sheet = _sheet("gaps_headings_totals.xlsx")
    assert [row.number for row in sheet.rows if not row.ignored] == [2, 3, 4, 8, 9]
    assert [row.ignored for row in sheet.rows if row.ignored] == ["blank", "blank", "a heading", "a total"]
    assert len(sheet.rows) == 9


def test_a_format_on_the_last_row_makes_no_million_rows() -> None:
    assert len(_sheet("formatted_to_last_row.xlsx").rows) == 5


@pytest.mark.parametrize(
    ("name", "order"),
    [
        ("day_month_flip.csv", "day_first"),
        ("semicolon_decimal_comma.csv", "day_first"),
        ("bom_utf8.csv", "iso"),
        ("arabic_digits.csv", None),
    ],
)
def test_one_date_decides_for_its_column_and_nothing_is_guessed(name: str, order: str | None) -> None:
    proposal = recognise(_sheet(name))
    [use] = [use for use in proposal.uses if use.target == "operation_date"]
    assert use.date_order == order
    asked = any(question.asks == "date_order" for question in proposal.questions)
    assert asked == (order is None)


def test_three_numbers_with_other_zeros_are_three_people() -> None:
    assert [row.cells[0] for row in _sheet("leading_zeros.csv").rows] == ["0012", "012", "12"]


def test_no_file_of_faults_breaks_the_reader() -> None:
    for path in sorted(FAULTS.iterdir()):
        try:
            recognise(read_sheet(path.read_bytes()))
        except FollowUpError as fault:
            pytest.fail(f"{path.name}: {fault.message}")
