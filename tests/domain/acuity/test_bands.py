"""Bands of vision impairment per eye. Thresholds: ICD-11 9D90, ICD-10 H54."""

from __future__ import annotations

import pytest

from followup.domain.acuity.bands import band
from followup.domain.acuity.notation import Notation
from followup.domain.acuity.parse import read_acuity

BANDS = [
    ("6/5", "none"),
    ("6/12", "none"),
    ("20/40", "none"),
    ("0.5", "none"),
    ("logMAR 0.3", "none"),
    ("70 letters", "none"),
    ("6/12-1", "mild"),
    ("6/15", "mild"),
    # The tables equate these, though their numbers differ.
    ("6/18", "mild"),
    ("0.3", "mild"),
    ("20/70", "mild"),
    # The same line as the log charts print it.
    ("6/19", "mild"),
    ("20/63", "mild"),
    ("logMAR 0.5", "mild"),
    ("60 letters", "mild"),
    ("6/24", "moderate"),
    ("logMAR 0.52", "moderate"),
    ("59 letters", "moderate"),
    ("6/60", "moderate"),
    ("20/200", "moderate"),
    ("0.1", "moderate"),
    ("35 letters", "moderate"),
    ("5/60", "severe"),
    ("3/60", "severe"),
    ("20/400", "severe"),
    ("0.05", "severe"),
    ("logMAR 1.3", "severe"),
    ("2/60", "blindness"),
    ("1/60", "blindness"),
    ("19 letters", "blindness"),
    ("CF 1m", "blindness"),
    ("HM", "blindness"),
    ("LP", "blindness"),
    ("NLP", "no light"),
]


@pytest.mark.parametrize(("written", "expected"), BANDS)
def test_band_within_the_notation_that_was_measured(written: str, expected: str) -> None:
    assert band(read_acuity(written, bare=Notation.DECIMAL)) == expected


@pytest.mark.parametrize("written", ["prosthesis", "phthisis", "enucleated"])
def test_no_band_where_there_is_no_eye_to_measure(written: str) -> None:
    assert band(read_acuity(written, bare=None)) is None
