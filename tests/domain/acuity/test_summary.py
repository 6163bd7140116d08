"""Acuity of many eyes: order first, and no mean that hides what it was made of."""

from __future__ import annotations

from decimal import Decimal

import pytest

from followup.domain.acuity.convert import four_places
from followup.domain.acuity.notation import Acuity, Category, Notation
from followup.domain.acuity.order import sight_order
from followup.domain.acuity.parse import read_acuity
from followup.domain.acuity.substitution import SUBSTITUTIONS, substitution
from followup.domain.acuity.summary import summarise
from followup.domain.errors import BadValue


def eyes(*written: str) -> list[Acuity | None]:
    return [read_acuity(text, bare=Notation.LOGMAR) if text else None for text in written]


LOW = eyes("6/60", "6/36", "CF", "HM", "HM")


# The same five eyes under each table: arithmetic. The mean moves by a third of a logMAR, the median does not.
@pytest.mark.parametrize(
    ("key", "mean"),
    [
        ("schulze_bonsel_2006", "1.6456"),
        ("lange_2009", "1.6636"),
        ("holladay_2004", "1.9556"),
        ("uk_cataract", "1.7356"),
    ],
)
def test_a_mean_with_substitution_depends_on_the_table(key: str, mean: str) -> None:
    found = summarise(LOW, substitution=substitution(key))
    assert found.substituted_mean is not None
    assert four_places(found.substituted_mean.logmar) == Decimal(mean)
    assert (found.substituted_mean.substituted, found.substituted_mean.left_out) == (3, 0)
    assert found.substituted_mean.label == substitution(key).label
    assert found.median is Category.COUNTING_FINGERS


def test_without_a_table_the_mean_is_of_chart_readings_alone() -> None:
    found = summarise(LOW)
    assert found.substituted_mean is None
    assert found.chart_mean is not None
    assert four_places(found.chart_mean) == Decimal("0.8891")
    assert (found.on_chart, found.below_chart) == (2, 3)


def test_light_perception_is_left_out_and_counted_where_the_source_could_not_measure_it() -> None:
    found = summarise(eyes("6/60", "LP", "NLP"), substitution=substitution("schulze_bonsel_2006"))
    assert found.substituted_mean is not None
    assert (found.substituted_mean.substituted, found.substituted_mean.left_out) == (0, 2)


def test_every_eye_is_counted_once() -> None:
    found = summarise(eyes("6/6", "", "HM", "prosthesis", "phthisis", ""))
    assert (found.n, found.on_chart, found.below_chart, found.missing, found.no_eye) == (6, 1, 1, 2, 2)


def test_nobody_has_no_levels_and_no_mean() -> None:
    found = summarise([], substitution=substitution("lange_2009"))
    assert (found.worse_quartile, found.median, found.better_quartile) == (None, None, None)
    assert (found.chart_mean, found.chart_mean_decimal, found.substituted_mean) == (None, None, None)


# Definition 2 of Hyndman and Fan 1996, worked by hand.
@pytest.mark.parametrize(
    ("written", "levels"),
    [
        (["0.1", "0.2", "0.3", "0.4", "0.5"], ["0.4", "0.3", "0.2"]),
        (["0.1", "0.2", "0.3", "0.4"], ["0.35", "0.25", "0.15"]),
        (["0.1", "0.2", "0.4", "HM"], ["hand_movements", "0.3", "0.15"]),
        (["0.1", "CF", "HM", "NLP"], ["no_light_perception", "hand_movements", "counting_fingers"]),
        (["0.3"], ["0.3", "0.3", "0.3"]),
    ],
)
def test_quartiles_follow_the_order_of_sight(written: list[str], levels: list[str]) -> None:
    found = summarise(eyes(*written))
    shown = [
        str(level.normalize()) if isinstance(level, Decimal) else str(level)
        for level in (found.worse_quartile, found.median, found.better_quartile)
    ]
    assert shown == levels


def test_the_mean_back_as_decimal_is_the_geometric_mean() -> None:
    decimals = [read_acuity(text, bare=Notation.DECIMAL) for text in ("0.1", "0.2", "0.6")]
    found = summarise(decimals)
    assert found.chart_mean_decimal is not None
    assert four_places(found.chart_mean_decimal) == Decimal("0.2289")


def test_order_of_sight() -> None:
    worst_to_best = ["NLP", "LP", "HM", "CF", "1/60", "6/60", "6/6", "6/5"]
    keys = [sight_order(read_acuity(text, bare=None)) for text in worst_to_best]
    assert keys == sorted(keys)
    assert len(set(keys)) == len(keys)


def test_tables_name_their_source_and_keep_the_order_of_sight() -> None:
    order = [
        Category.COUNTING_FINGERS,
        Category.HAND_MOVEMENTS,
        Category.LIGHT_PERCEPTION,
        Category.NO_LIGHT_PERCEPTION,
    ]
    for table in SUBSTITUTIONS.values():
        values = [table.values[category] for category in order if category in table.values]
        assert table.source
        assert values == sorted(values)


def test_an_unknown_table_is_refused_naming_those_there_are() -> None:
    with pytest.raises(BadValue, match="Choose one of schulze_bonsel_2006, lange_2009"):
        substitution("none")
