"""Public holidays by country, against days fixed by law or by the calendar of the church."""

from __future__ import annotations

from datetime import date

import pytest

from followup.domain.errors import BadValue
from followup.queries.holidays import public_holidays

YEAR = (date(2026, 1, 1), date(2026, 12, 31))


@pytest.mark.parametrize(
    ("country", "day", "name"),
    [
        # German unity: Einigungsvertrag, article 2 (2). Easter Monday: the day after Easter, 5 April 2026.
        ("DE", "2026-10-03", "German Unity Day"),
        ("DE", "2026-04-06", "Easter Monday"),
        # Epiphany is a holiday in Bavaria and not in all of Germany.
        ("DE-BY", "2026-01-06", "Epiphany"),
        # The revolution of 23 July 1952.
        ("EG", "2026-07-23", "July 23 Revolution Day"),
    ],
)
def test_a_country_keeps_its_holidays(country: str, day: str, name: str) -> None:
    found = public_holidays(country, *YEAR)
    assert name.split()[0] in found[date.fromisoformat(day)]


def test_a_part_of_a_country_has_its_own() -> None:
    assert date(2026, 1, 6) not in public_holidays("DE", *YEAR)


def test_only_the_days_asked_for_are_told() -> None:
    assert list(public_holidays("DE", date(2026, 12, 20), date(2027, 1, 1))) == [
        date(2026, 12, 25),
        date(2026, 12, 26),
        date(2027, 1, 1),
    ]


def test_no_country_has_none() -> None:
    assert public_holidays("", *YEAR) == {}


@pytest.mark.parametrize("country", ["XX", "DE-QQ", "de by", "E"])
def test_a_country_that_is_not_known_is_refused(country: str) -> None:
    with pytest.raises(BadValue) as refused:
        public_holidays(country, *YEAR)
    assert (refused.value.field, refused.value.code) == ("country", "unknown_country")
    assert f'"{country}"' in refused.value.message
