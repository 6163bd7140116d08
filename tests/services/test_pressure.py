"""Pressure as people type it."""

from __future__ import annotations

import pytest

from followup.domain.errors import BadValue
from followup.services.pressure import Pressure, read_pressure


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("", Pressure()),
        ("  ", Pressure()),
        ("18", Pressure(mmhg=18)),
        (" 18 mmHg", Pressure(mmhg=18)),
        ("18mm Hg", Pressure(mmhg=18)),
        ("1", Pressure(mmhg=1)),
        ("80", Pressure(mmhg=80)),
        ("\u0661\u0668", Pressure(mmhg=18)),
        ("soft", Pressure(text="soft")),
        ("Soft", Pressure(text="soft")),
        ("digitally  normal", Pressure(text="digitally normal")),
    ],
)
def test_what_is_taken(typed: str, read: Pressure) -> None:
    assert read_pressure(typed) == read


@pytest.mark.parametrize(
    ("typed", "advice"),
    [
        ("18/20", "for one eye"),
        ("18-20", "for one eye"),
        ("18.5", "whole mmHg"),
        ("-3", "whole mmHg"),
        ("0", "write soft"),
        ("81", "At most 80"),
        ("180", "At most 80"),
        ("ND", "soft"),
        ("N", "soft"),
        ("?", "soft"),
        ("\u00b2", "whole mmHg"),
    ],
)
def test_what_is_refused_names_the_value_and_what_to_do(typed: str, advice: str) -> None:
    with pytest.raises(BadValue) as refused:
        read_pressure(typed)
    assert (refused.value.code, refused.value.field) == ("pressure", "pressure")
    assert f'"{typed}"' in refused.value.message
    assert advice in refused.value.message
