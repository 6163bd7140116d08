"""The simulation against its closed forms: certain attendance, beta-binomial attendance, Poisson arrivals."""

from __future__ import annotations

from math import sqrt
from random import Random
from statistics import mean, variance

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.queries.reports.load_model import LaneLoad, forecast, play, poisson

CERTAIN = 10**9
"""So many came that attendance is certain to all digits that matter."""
WEEKS = st.lists(st.tuples(st.integers(0, 12), st.integers(0, 12)), min_size=1, max_size=20)


def sums(load: LaneLoad, runs: int, week: int = 0) -> list[int]:
    random = Random(7)
    return [play(load, random).came[week] for _ in range(runs)]


@given(weeks=WEEKS, waiting=st.integers(0, 20))
def test_if_everybody_comes_the_queue_is_the_one_that_a_sum_gives(
    weeks: list[tuple[int, int]], waiting: int
) -> None:
    due, places = (tuple(column) for column in zip(*weeks, strict=True))
    run = play(LaneLoad(due, places, waiting, came=CERTAIN), Random(1))
    queue, expected = waiting, []
    for joins, room in weeks:
        queue = max(0, queue + joins - room)
        expected.append(queue)
    assert list(run.left_over) == expected
    assert run.due == due


@given(weeks=WEEKS, waiting=st.integers(0, 20), seed=st.integers(0, 99), came=st.integers(0, 9))
def test_nobody_is_lost_on_the_way(weeks: list[tuple[int, int]], waiting: int, seed: int, came: int) -> None:
    due, places = (tuple(column) for column in zip(*weeks, strict=True))
    run = play(LaneLoad(due, places, waiting, came, missed=3), Random(seed))
    for week, room in enumerate(places):
        wanted = waiting + sum(due[: week + 1]) - sum(run.came[:week])
        assert run.left_over[week] == max(0, wanted - room)
        assert 0 <= run.came[week] <= min(wanted, room)


def test_attendance_known_for_certain_is_binomial() -> None:
    # 3 in 4 came, of very many: mean n p = 30 and variance n p (1 - p) = 7.5 for n = 40 places.
    load = LaneLoad((40,), (40,), came=3 * CERTAIN, missed=CERTAIN)
    came, runs = sums(load, 4_000), 4_000
    assert mean(came) == pytest.approx(30, abs=4 * sqrt(7.5 / runs))
    assert variance(came) == pytest.approx(7.5, rel=0.1)


def test_attendance_counted_on_few_is_beta_binomial() -> None:
    # Beta-binomial, n = 40, a = 9.5, b = 3.5: mean n a/(a+b), variance n ab(a+b+n) / ((a+b)^2 (a+b+1)).
    load = LaneLoad((40,), (40,), came=9, missed=3)
    a, b, n, runs = 9.5, 3.5, 40, 4_000
    expected = n * a * b * (a + b + n) / ((a + b) ** 2 * (a + b + 1))
    came = sums(load, runs)
    assert mean(came) == pytest.approx(n * a / (a + b), abs=4 * sqrt(expected / runs))
    assert variance(came) == pytest.approx(expected, rel=0.1)


def test_with_room_for_all_those_who_stay_away_wait_on() -> None:
    # d a week and room for all: the queue before week k is d (1 + q + ... + q^k), with q = 1/4 who stay away.
    load = LaneLoad((20,) * 6, (100,) * 6, came=3 * CERTAIN, missed=CERTAIN)
    expected = 20 * sum(0.25**k for k in range(6)) * 0.75
    assert mean(sums(load, 3_000, week=5)) == pytest.approx(expected, rel=0.02)


def test_new_operations_bring_what_recent_ones_brought() -> None:
    # Two a week on average, each with a place in its own week and one two weeks later: 2, 2, then 4 a week.
    load = LaneLoad((0,) * 4, (99,) * 4, came=CERTAIN, operations=2.0, brings=((0, 2, 30),))
    due = [week.due for week in forecast(load, seed=3, runs=3_000).weeks]
    assert due == pytest.approx([2, 2, 4, 4], abs=4 * sqrt(4 / 3_000))


@pytest.mark.parametrize("average", [0.0, 0.4, 6.0])
def test_a_poisson_number_has_its_mean_and_variance(average: float) -> None:
    random = Random(11)
    drawn = [poisson(average, random) for _ in range(8_000)]
    assert mean(drawn) == pytest.approx(average, abs=4 * sqrt(average / 8_000))
    assert variance(drawn) == pytest.approx(average, rel=0.08)


def test_the_first_week_behind_is_the_first_with_people_left_over_in_most_runs() -> None:
    load = LaneLoad((3, 3, 3, 9, 0), (5,) * 5, came=CERTAIN)
    told = forecast(load, seed=1, runs=20)
    assert told.first_behind == 3
    assert [week.left_over for week in told.weeks] == [0, 0, 0, 4, 0]
    assert forecast(load.with_more(4), seed=1, runs=20).first_behind is None


def test_the_same_seed_tells_the_same_and_another_something_else() -> None:
    load = LaneLoad((6,) * 8, (6,) * 8, came=8, missed=2)
    assert forecast(load, seed=1) == forecast(load, seed=1) != forecast(load, seed=2)


def test_the_range_holds_four_fifths_of_the_runs() -> None:
    load = LaneLoad((10,) * 8, (10,) * 8, came=8, missed=2)
    random = Random(5)
    left = [play(load, random).left_over[7] for _ in range(400)]
    week = forecast(load, seed=5).weeks[7]
    inside = sum(week.low <= count <= week.high for count in left) / len(left)
    assert 0.8 <= inside <= 0.9
