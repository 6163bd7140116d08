"""Conversion by formula: logMAR = -log10(decimal), letters = 85 - 50 logMAR, line = 0.1 logMAR.

Check values are arithmetic from those formulas (Holladay 2004; Beck et al. 2003; Gregori et al. 2010).
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.domain.acuity.convert import (
    decimal_from_logmar,
    four_places,
    letters_from_logmar,
    lines_from_logmar,
    logmar_from_decimal,
    logmar_from_fraction,
    logmar_from_letters,
    mean_logmar,
)
from followup.domain.acuity.notation import Notation
from followup.domain.acuity.parse import read_acuity
from followup.domain.errors import BadValue

OFF_CHART = None

# As written, logMAR, decimal, letters to two places (100 at most), lines away from 6/6 to two places.
CHECK_VALUES = [
    ("6/3", "-0.3010", "2.0000", "100.00", "-3.01"),
    ("6/4", "-0.1761", "1.5000", "93.80", "-1.76"),
    ("6/4.8", "-0.0969", "1.2500", "89.85", "-0.97"),
    ("6/5", "-0.0792", "1.2000", "88.96", "-0.79"),
    ("6/6", "0.0000", "1.0000", "85.00", "0.00"),
    ("6/7.5", "0.0969", "0.8000", "80.15", "0.97"),
    ("6/9", "0.1761", "0.6667", "76.20", "1.76"),
    ("6/9.5", "0.1996", "0.6316", "75.02", "2.00"),
    ("6/12", "0.3010", "0.5000", "69.95", "3.01"),
    ("6/15", "0.3979", "0.4000", "65.10", "3.98"),
    ("6/18", "0.4771", "0.3333", "61.14", "4.77"),
    ("6/19", "0.5006", "0.3158", "59.97", "5.01"),
    ("6/24", "0.6021", "0.2500", "54.90", "6.02"),
    ("6/30", "0.6990", "0.2000", "50.05", "6.99"),
    ("6/36", "0.7782", "0.1667", "46.09", "7.78"),
    ("6/48", "0.9031", "0.1250", "39.85", "9.03"),
    ("6/60", "1.0000", "0.1000", "35.00", "10.00"),
    ("5/60", "1.0792", "0.0833", "31.04", "10.79"),
    ("4/60", "1.1761", "0.0667", "26.20", "11.76"),
    ("3/60", "1.3010", "0.0500", "19.95", "13.01"),
    ("2/60", "1.4771", "0.0333", "11.14", "14.77"),
    ("1/60", "1.7782", "0.0167", OFF_CHART, "17.78"),
    ("20/10", "-0.3010", "2.0000", "100.00", "-3.01"),
    ("20/16", "-0.0969", "1.2500", "89.85", "-0.97"),
    ("20/20", "0.0000", "1.0000", "85.00", "0.00"),
    ("20/25", "0.0969", "0.8000", "80.15", "0.97"),
    ("20/30", "0.1761", "0.6667", "76.20", "1.76"),
    ("20/32", "0.2041", "0.6250", "74.79", "2.04"),
    ("20/40", "0.3010", "0.5000", "69.95", "3.01"),
    ("20/50", "0.3979", "0.4000", "65.10", "3.98"),
    ("20/63", "0.4983", "0.3175", "60.08", "4.98"),
    ("20/70", "0.5441", "0.2857", "57.80", "5.44"),
    ("20/80", "0.6021", "0.2500", "54.90", "6.02"),
    ("20/100", "0.6990", "0.2000", "50.05", "6.99"),
    ("20/150", "0.8751", "0.1333", "41.25", "8.75"),
    ("20/200", "1.0000", "0.1000", "35.00", "10.00"),
    ("20/400", "1.3010", "0.0500", "19.95", "13.01"),
    ("5/200", "1.6021", "0.0250", "4.90", "16.02"),
    ("20/800", "1.6021", "0.0250", "4.90", "16.02"),
    ("20/1200", "1.7782", "0.0167", OFF_CHART, "17.78"),
    ("4/40", "1.0000", "0.1000", "35.00", "10.00"),
    ("0.9", "0.0458", "0.9000", "82.71", "0.46"),
    ("0.6", "0.2218", "0.6000", "73.91", "2.22"),
    ("0.3", "0.5229", "0.3000", "58.86", "5.23"),
    ("0.15", "0.8239", "0.1500", "43.80", "8.24"),
    ("0.05", "1.3010", "0.0500", "19.95", "13.01"),
    ("0.02", "1.6990", "0.0200", "0.05", "16.99"),
    ("85 letters", "0.0000", "1.0000", "85.00", "0.00"),
    ("70 letters", "0.3000", "0.5012", "70.00", "3.00"),
    ("35 letters", "1.0000", "0.1000", "35.00", "10.00"),
    ("0 letters", "1.7000", "0.0200", "0.00", "17.00"),
    ("logMAR 0.2", "0.2000", "0.6310", "75.00", "2.00"),
    ("logMAR -0.1", "-0.1000", "1.2589", "90.00", "-1.00"),
    ("6/9-2", "0.2161", "0.6080", "74.20", "2.16"),
    ("20/40+1", "0.2810", "0.5236", "70.95", "2.81"),
    ("6/6-1", "0.0200", "0.9550", "84.00", "0.20"),
    ("6/18-3", "0.5371", "0.2903", "58.14", "5.37"),
    ("20/20+3", "-0.0600", "1.1482", "88.00", "-0.60"),
]


def two_places(value: Decimal) -> str:
    return str(value.quantize(Decimal("0.01")) + 0)


@pytest.mark.parametrize(("written", "logmar", "decimal", "letters", "lines"), CHECK_VALUES)
def test_check_values(written: str, logmar: str, decimal: str, letters: str | None, lines: str) -> None:
    reading = read_acuity(written, bare=Notation.DECIMAL)
    assert reading.logmar is not None
    assert reading.decimal is not None
    assert str(reading.logmar_4dp) == logmar
    assert str(four_places(reading.decimal)) == decimal
    assert (None if reading.letters is None else two_places(reading.letters)) == letters
    assert two_places(lines_from_logmar(reading.logmar)) == lines


@pytest.mark.parametrize("written", ["CF", "HM", "LP", "NLP"])
def test_below_the_chart_there_is_a_category_and_no_number(written: str) -> None:
    reading = read_acuity(written, bare=None)
    assert (reading.logmar, reading.decimal, reading.letters) == (None, None, None)


# A chart table would snap these together; a formula keeps them apart.
@pytest.mark.parametrize(
    ("written", "logmar"),
    [("20/30", "0.1761"), ("20/32", "0.2041"), ("0.63", "0.2007"), ("6/9", "0.1761"), ("6/9.5", "0.1996")],
)
def test_neighbours_on_a_chart_are_not_snapped_together(written: str, logmar: str) -> None:
    assert str(read_acuity(written, bare=Notation.DECIMAL).logmar_4dp) == logmar


def test_mean_of_logmar_is_the_geometric_mean_of_decimals() -> None:
    # Arithmetic: decimals 0.1, 0.2, 0.6 have the arithmetic mean 0.3000, which overstates sight.
    mean = mean_logmar([logmar_from_decimal(Decimal(value)) for value in ("0.1", "0.2", "0.6")])
    assert four_places(mean) == Decimal("0.6403")
    assert four_places(decimal_from_logmar(mean)) == Decimal("0.2289")


def test_published_average_of_20_20_and_20_200() -> None:
    # Holladay, J Cataract Refract Surg 2004: 20/20 and 20/200 average to logMAR 0.5, which is 20/63.
    mean = mean_logmar([logmar_from_fraction(Decimal(20), Decimal(x)) for x in (20, 200)])
    assert mean == Decimal("0.5")
    assert round(20 / decimal_from_logmar(mean)) == 63


def test_nobody_has_no_mean() -> None:
    with pytest.raises(BadValue, match="no reading on a chart"):
        mean_logmar([])


@pytest.mark.parametrize("letters", [-9, -1, 101])
def test_letter_scores_outside_the_chart_are_refused(letters: int) -> None:
    with pytest.raises(BadValue, match="from 0 to 100"):
        logmar_from_letters(letters)


@pytest.mark.parametrize(("tested", "letter"), [("0", "6"), ("6", "0"), ("-6", "6")])
def test_a_zero_is_no_distance(tested: str, letter: str) -> None:
    with pytest.raises(BadValue, match="above zero"):
        logmar_from_fraction(Decimal(tested), Decimal(letter))


@given(st.integers(0, 100))
def test_letters_come_back_exactly(letters: int) -> None:
    assert letters_from_logmar(logmar_from_letters(letters)) == letters


chart_logmars = st.decimals("-0.3", "1.7", places=4)


@given(chart_logmars, chart_logmars)
def test_higher_logmar_is_worse_on_every_scale(one: Decimal, other: Decimal) -> None:
    better, worse = sorted((one, other))
    more, fewer = letters_from_logmar(better), letters_from_logmar(worse)
    assert decimal_from_logmar(better) >= decimal_from_logmar(worse)
    assert more is not None
    assert fewer is not None
    assert more >= fewer


@given(chart_logmars)
def test_decimal_comes_back_to_ten_places(logmar: Decimal) -> None:
    assert abs(logmar_from_decimal(decimal_from_logmar(logmar)) - logmar) < Decimal("1e-10")
