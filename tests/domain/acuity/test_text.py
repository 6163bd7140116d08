"""Plain characters out of what keyboards, spreadsheets and other scripts put into a cell."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.domain.acuity.notation import Acuity, Notation, UnreadableAcuity
from followup.domain.acuity.parse import read_acuity
from followup.domain.acuity.text import plain

PLAIN = [
    ("\u0666/\u0669", "6/9"),  # Arabic-Indic digits
    ("\u06f6/\u06f1\u06f2", "6/12"),  # Persian digits
    ("\u06f0\u066b\u06f5", "0.5"),  # Arabic decimal separator
    ("\u0660\u060c\u0665", "0,5"),  # Arabic comma
    ("\uff16\uff0f\uff19", "6/9"),  # full width
    ("6/9\u00a0", "6/9"),  # no-break space
    ("6\u2007/\u202f9", "6 / 9"),  # figure space, narrow no-break space
    ("\u200b6/9\ufeff", "6/9"),  # zero-width space, byte order mark
    ("\u200f6/9\u202c\u2066", "6/9"),  # direction marks
    ("6/1\u00ad2", "6/12"),  # soft hyphen
    ("6\u2044 9", "6/ 9"),  # fraction slash
    ("6\u22159", "6/9"),  # division slash
    ("logMAR \u22120.1", "logMAR -0.1"),  # minus sign
    ("6/9\u20132", "6/9-2"),  # en dash
    ("6/9\u20142", "6/9-2"),  # em dash
    ("6/9\uff0d2", "6/9-2"),  # full-width minus
    ("6/9\u207b\u00b2", "6/9-2"),  # raised minus two
    ("6/9\u207a\u00b9", "6/9+1"),  # raised plus one
    ("CF@3\u2032", "CF@3'"),  # prime
    ("CF 6\u2033", 'CF 6"'),  # double prime
    ("70\u066a", "70%"),
    ("6/9\u00b2", "6/9\u00b2"),  # a raised digit alone is not a digit: not 6/92
    ("\u2460", "\u2460"),  # neither is a circled one
    ("\u00bd", "\u00bd"),
    ("  6/9\t\n PH ", "6/9 PH"),
]


@pytest.mark.parametrize(("typed", "expected"), PLAIN)
def test_characters_become_plain(typed: str, expected: str) -> None:
    assert plain(typed) == expected


@pytest.mark.parametrize(
    ("typed", "bare", "logmar"),
    [
        ("\u0666/\u0669", None, "0.1761"),
        ("\u06f6/\u06f9-\u06f2", None, "0.2161"),
        ("\u06f0\u066b\u06f5", Notation.DECIMAL, "0.3010"),
        ("\u0661\u066b\u0660", Notation.DECIMAL, "0.0000"),
        ("\uff16\uff0f\uff19", None, "0.1761"),
        ("logMAR \u22120.1", None, "-0.1000"),
        ("\u20120.1", Notation.LOGMAR, "-0.1000"),
        ("6/9\u20132", None, "0.2161"),
        ("6\u2044 9", None, "0.1761"),
        ("6/9\u00a0", None, "0.1761"),
        ("\u0667\u0660 letters", None, "0.3000"),
    ],
)
def test_other_scripts_read_as_their_plain_form(typed: str, bare: Notation | None, logmar: str) -> None:
    reading = read_acuity(typed, bare=bare)
    assert str(reading.logmar_4dp) == logmar
    assert reading.as_written == typed


@given(st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=20))
def test_ascii_keeps_its_meaning(text: str) -> None:
    assert plain(text) == " ".join(text.split())


@given(st.text(max_size=20))
def test_plain_text_stays_plain(text: str) -> None:
    assert plain(plain(text)) == plain(text)


def read_or_none(text: str, bare: Notation | None) -> Acuity | None:
    try:
        return read_acuity(text, bare=bare)
    except UnreadableAcuity:
        return None


@given(st.text(max_size=70), st.sampled_from((None, *Notation)))
def test_any_text_is_read_or_refused(text: str, bare: Notation | None) -> None:
    reading = read_or_none(text, bare)
    assert reading is None or reading.as_written == text


PIECES = [
    *"0123456789/.,+-' ",
    "6/9",
    "20/",
    "CF",
    "HM",
    "PL",
    "NPL",
    "PH",
    "logMAR",
    "letters",
    "m",
    "cm",
    "p",
    "(",
]


@given(st.lists(st.sampled_from(PIECES), max_size=9).map("".join), st.sampled_from((None, *Notation)))
def test_what_nearly_is_an_acuity_is_within_the_charts_or_refused(text: str, bare: Notation | None) -> None:
    reading = read_or_none(text, bare)
    assert reading is None or reading.logmar is None or Decimal("-0.6") < reading.logmar < Decimal("2.5")
