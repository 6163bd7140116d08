"""Windows: order, counting from the anchor, and the first overdue day."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from followup.domain.dates.durations import Duration
from followup.domain.dates.windows import Window
from followup.domain.dates.zones import local_day
from followup.domain.errors import BadValue

P = Duration.parse


def test_window_around_a_target_counts_early_and_late_from_it() -> None:
    window = Window.around(date(2024, 1, 31), P("P1M"), early=P("P7D"), late=P("P14D"))
    assert window == Window(opens=date(2024, 2, 22), target=date(2024, 2, 29), closes=date(2024, 3, 14))


def test_oil_removal_window_counts_every_day_from_the_filling() -> None:
    window = Window.between(date(2024, 1, 31), opens=P("P2M"), target=P("P2M"), closes=P("P3M"))
    assert window == Window(opens=date(2024, 3, 31), target=date(2024, 3, 31), closes=date(2024, 4, 30))


@pytest.mark.parametrize(
    ("day", "state"),
    [("2024-03-30", "before"), ("2024-03-31", "open"), ("2024-04-30", "open"), ("2024-05-01", "closed")],
)
def test_at_most_three_months_includes_the_last_day(day: str, state: str) -> None:
    window = Window.between(date(2024, 1, 31), P("P2M"), P("P2M"), P("P3M"))
    assert window.state(date.fromisoformat(day)) == state
    assert window.contains(date.fromisoformat(day)) == (state == "open")


@pytest.mark.parametrize("days", [(2, 1, 3), (1, 3, 2), (3, 2, 1)])
def test_a_window_out_of_order_is_refused(days: tuple[int, int, int]) -> None:
    with pytest.raises(BadValue, match="open, reach its target and close in this order"):
        Window(*(date(2024, 1, day) for day in days))


def test_a_window_of_one_day_is_open_on_it() -> None:
    day = date(2024, 2, 29)
    assert Window(day, day, day).contains(day)


def test_a_window_stays_open_until_the_day_ends_at_the_site() -> None:
    window = Window(date(2025, 6, 1), date(2025, 6, 5), closes=date(2025, 6, 9))
    late_evening, next_morning = (
        datetime(2025, 6, 10, 1, 30, tzinfo=UTC),
        datetime(2025, 6, 10, 3, tzinfo=UTC),
    )
    assert window.state(local_day(late_evening, "America/Sao_Paulo")) == "open"
    assert window.state(local_day(next_morning, "America/Sao_Paulo")) == "closed"
