"""The window of a milestone: the first day, the day aimed at, and the last day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Self

from followup.domain.dates.durations import Duration
from followup.domain.errors import BadValue


class WindowState(StrEnum):
    """Where a day lies against a window."""

    BEFORE = "before"
    OPEN = "open"
    CLOSED = "closed"


@dataclass(frozen=True, slots=True)
class Window:
    """Calendar days, both ends included: the day after `closes` is the first overdue day.

    Raises BadValue unless opens <= target <= closes.
    """

    opens: date
    target: date
    closes: date

    def __post_init__(self) -> None:
        if not self.opens <= self.target <= self.closes:
            raise BadValue(
                f"A window must open, reach its target and close in this order: opens {self.opens}, "
                f"target {self.target}, closes {self.closes}."
            )

    @classmethod
    def around(cls, anchor: date, offset: Duration, early: Duration, late: Duration) -> Self:
        """Target at anchor + offset; `early` before and `late` after it are counted from the target."""
        target = offset.add_to(anchor)
        return cls(early.subtract_from(target), target, late.add_to(target))

    @classmethod
    def between(cls, anchor: date, opens: Duration, target: Duration, closes: Duration) -> Self:
        """All three counted from the anchor, as for a removal between two and three months after filling."""
        return cls(opens.add_to(anchor), target.add_to(anchor), closes.add_to(anchor))

    def contains(self, day: date) -> bool:
        return self.opens <= day <= self.closes

    def state(self, day: date) -> WindowState:
        if day < self.opens:
            return WindowState.BEFORE
        return WindowState.OPEN if day <= self.closes else WindowState.CLOSED
