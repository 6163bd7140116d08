"""What is written out is shown as text by a spreadsheet, and comes back as it was."""

from __future__ import annotations

import csv
import io
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.interchange.sheets.cells import Measured
from followup.interchange.sheets.plain_text import split_rows
from followup.interchange.sheets.write import csv_text, harmless


@pytest.mark.parametrize(
    ("cell", "written"),
    [
        ("=1+1", "'=1+1"),
        ("+1", "'+1"),
        ("-2", "'-2"),
        ("@cell", "'@cell"),
        ("\t=1+1", "'\t=1+1"),
        ("\r=1", "'\r=1"),
        ("\n=1", "'\n=1"),
        ("＝1+1", "'＝1+1"),
        ("'=1+1", "''=1+1"),
        ("''@cell", "'''@cell"),
        ("'quoted'", "'quoted'"),
        ("6/9+1", "6/9+1"),
        (Measured("+1"), "+1"),
        (Measured("-0.10"), "-0.10"),
        (Measured("-0,1"), "-0,1"),
        (Measured("+1+cmd"), "'+1+cmd"),
        (Measured("=1"), "'=1"),
        ("6/9-2", "6/9-2"),
        ("+447700900012", "+447700900012"),
        (Decimal("-0.10"), "-0.10"),
        (-15, "-15"),
        ('Patient "0012", left', 'Patient "0012", left'),
        ("", ""),
    ],
)
def test_text_that_a_spreadsheet_would_run_is_made_harmless(cell: object, written: str) -> None:
    assert harmless(cell) == written


def test_rows_come_back_as_they_were_written() -> None:
    rows = [["0012", 'a "quoted" name', "two\nlines"], ["0013", "مريض", ""]]
    text = csv_text(rows)
    assert text.startswith("\ufeff")
    assert list(csv.reader(io.StringIO(text.removeprefix("\ufeff")))) == rows


@given(st.text(st.sampled_from("'=+-@\t\n＝19,;\" a"), max_size=6))
def test_whatever_text_is_written_is_read_back_the_same(text: str) -> None:
    for cell in (text, Measured(text)):
        _, rows = split_rows(csv_text([["a", "b"], [cell, "end"]]).removeprefix("\ufeff"), ",")
        assert list(rows)[1] == [text, "end"]
