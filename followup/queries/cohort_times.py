"""The times at which an audit looks at each eye, and how near a visit must be to stand for one.

The windows do not meet, so no visit stands for two times. Common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

BEFORE_DAYS = 180
"""The reading before surgery is the last within so many days of the index operation, that day included."""

LONGEST_GAS_DAYS = 70
"""Air or gas for which nobody looked counts as still there so long: the longest usual stay, of C3F8."""


@dataclass(frozen=True, slots=True)
class Time:
    """Days count from the index operation; the window includes both ends."""

    months: int
    day: int
    opens: int
    closes: int

    @property
    def label(self) -> str:
        return "1 month" if self.months == 1 else f"{self.months} months"


TIMES = (
    Time(1, 30, 15, 45),
    Time(3, 91, 61, 121),
    Time(6, 183, 123, 243),
    Time(12, 365, 275, 455),
    Time(24, 731, 551, 911),
)
LABELS = ("Before", *(time.label for time in TIMES))


_TIME_OF_DAY = {day: place for place, time in enumerate(TIMES) for day in range(time.opens, time.closes + 1)}


def place_of(since: int) -> int | None:
    """The place in TIMES of the time whose window holds a day; None where none does."""
    return _TIME_OF_DAY.get(since)


def nearness(since: int, place: int) -> tuple[int, int]:
    """Less is nearer: of two days as near to the time the later one."""
    return abs(since - TIMES[place].day), -since
