"""A workbook written out: text stays text, numbers stay numbers."""

from __future__ import annotations

from decimal import Decimal
from io import BytesIO

import openpyxl
import pytest

from followup.domain.errors import Refused
from followup.interchange.sheets import xlsx
from followup.interchange.sheets.xlsx import workbook


def test_text_that_looks_like_a_formula_or_a_link_stays_text() -> None:
    risky = ("=1+1", "@SUM(A1)", "+1", "-1", "https://clinic.example/", "{=1}")
    book = openpyxl.load_workbook(BytesIO(workbook([("a",) * len(risky), risky], "Eyes")))
    cells = list(book["Eyes"])[1]
    assert [cell.value for cell in cells] == list(risky)
    assert {cell.data_type for cell in cells} == {"s"}
    assert [cell.hyperlink for cell in cells] == [None] * len(risky)


def test_numbers_stay_numbers_and_nothing_stays_empty() -> None:
    book = openpyxl.load_workbook(BytesIO(workbook([("n", "x", "m"), (3, Decimal("-0.1"), "")], "Eyes")))
    assert [cell.value for cell in list(book["Eyes"])[1]] == [3, -0.1, None]


def test_what_no_workbook_holds_is_refused_and_never_cut_off(monkeypatch: pytest.MonkeyPatch) -> None:
    assert workbook([("note",), ("x" * xlsx.MOST_LETTERS,)], "Eyes")
    with pytest.raises(Refused, match=r'Row 2 of "Eyes" has a text of 32,768 letters.*Choose CSV'):
        workbook([("note",), ("x" * (xlsx.MOST_LETTERS + 1),)], "Eyes")
    # A million rows take too long for a test.
    monkeypatch.setattr(xlsx, "MOST_ROWS", 3)
    assert workbook([("a",)] * 3, "Eyes")
    with pytest.raises(Refused, match='"Eyes" has more than 3 rows'):
        workbook([("a",)] * 4, "Eyes")
