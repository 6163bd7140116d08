"""Dates known only in part are kept as they are, or asked for."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.domain.dates.partial import PartialDate
from followup.domain.errors import BadValue

READ = [
    ("2024", "2024"),
    ("2024-09", "2024-09"),
    ("2024-9", "2024-09"),
    ("2024/09", "2024-09"),
    ("09/2024", "2024-09"),
    ("Sept 2024", "2024-09"),
    ("sep 2024", "2024-09"),
    ("September 2024", "2024-09"),
    ("Sep. 2024", "2024-09"),
    ("Sept-2024", "2024-09"),
    (" 2024-09-06 ", "2024-09-06"),
    ("2024.09.06", "2024-09-06"),
    ("6 Sept 2024", "2024-09-06"),
    ("06-Sep-2024", "2024-09-06"),
    ("13/02/2024", "2024-02-13"),
    ("02/13/2024", "2024-02-13"),
    ("\u200e2024\u200f-09-06", "2024-09-06"),
    ("31/12/2024", "2024-12-31"),
    ("12/31/2024", "2024-12-31"),
    ("05/05/2024", "2024-05-05"),
    ("29/02/2024", "2024-02-29"),
    ("٢٠٢٤/٠٩/٠٦", "2024-09-06"),
    ("۲۰۲۴-۰۹", "2024-09"),
]

# A common parser fills some of these up from today: dateutil/dateutil 834 and 25, scrapinghub/dateparser 970.
REFUSED = [
    ("10", "four-digit year"),
    ("06/09", "four-digit year"),
    ("31/09/2024", "no 31 September 2024"),
    ("29/02/2023", "no 29 February 2023"),
    ("31 Sept 2024", "no 31 September 2024"),
    ("2024-13", "no month 13"),
    ("2024-00", "no month 0"),
    ("00/09/2024", "day first or month first"),
    ("31/13/2024", "both above 12"),
    ("03/04/2024", r'^"03/04/2024" can be read day first or month first'),
    ("6/9/24", "four-digit year"),
    ("1445-09-06", "another calendar"),
    ("2567", "another calendar"),
    ("2024-09/06", "four-digit year"),
    ("Smarch 2024", "four-digit year"),
    ("unknown", "four-digit year"),
    ("45541", "four-digit year"),
    ("", "four-digit year"),
]


@pytest.mark.parametrize(("text", "kept"), READ)
def test_precision_is_kept_as_given(text: str, kept: str) -> None:
    assert str(PartialDate.parse(text)) == kept


@pytest.mark.parametrize(("text", "reason"), REFUSED)
def test_what_cannot_be_read_is_asked_for(text: str, reason: str) -> None:
    with pytest.raises(BadValue, match=reason):
        PartialDate.parse(text)


@pytest.mark.parametrize(("day_first", "kept"), [(True, "2024-04-03"), (False, "2024-03-04")])
def test_the_order_of_the_column_decides(day_first: bool, kept: str) -> None:
    assert str(PartialDate.parse("03/04/2024", day_first=day_first)) == kept


def test_a_date_against_the_order_of_its_column_is_refused() -> None:
    with pytest.raises(BadValue, match="order of its column"):
        PartialDate.parse("02/13/2024", day_first=True)


def test_bounds_of_a_partly_known_date() -> None:
    assert PartialDate(2024).earliest == date(2024, 1, 1)
    assert PartialDate(2024).latest == date(2024, 12, 31)
    assert PartialDate(2024, 2).latest == date(2024, 2, 29)
    assert PartialDate(2024, 2).whole is None
    assert PartialDate(2024, 2, 29).whole == date(2024, 2, 29)


def test_a_day_needs_its_month() -> None:
    with pytest.raises(BadValue, match=r"^A date with a day needs its month too\.$"):
        PartialDate(2024, None, 6)


@given(st.dates(date(1850, 1, 1), date(2150, 12, 31)), st.integers(1, 3))
def test_what_is_written_reads_back(day: date, precision: int) -> None:
    known = PartialDate(*(day.year, day.month, day.day)[:precision])
    assert PartialDate.parse(str(known)) == known
    assert known.earliest <= day <= known.latest


@given(st.text(max_size=12))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        known = PartialDate.parse(text)
    except BadValue:
        return
    assert known.earliest <= known.latest


@pytest.mark.parametrize("written", ["2024-03-01", "2150-12-31", "1850-01-01"])
def test_the_first_and_last_days_that_can_be_meant_are_taken(written: str) -> None:
    assert str(PartialDate.parse(written)) == written
