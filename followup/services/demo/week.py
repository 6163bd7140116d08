"""The days on which the demo clinic holds its lists."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from followup.services.demo.facts import ListFact

WEEKS_BACK = 18
WEEKS_AHEAD = 12
_KIND_OF_LANE = {"review": "clinic", "removal": "theatre"}


@dataclass(frozen=True, slots=True)
class Week:
    """The clinic's weekly lists; booked with this tool from `opened` until `closes`, both included."""

    lists: Sequence[ListFact]
    today: date

    @property
    def opened(self) -> date:
        return self.today - timedelta(weeks=WEEKS_BACK)

    @property
    def closes(self) -> date:
        return self.today + timedelta(weeks=WEEKS_AHEAD)

    def held(self) -> Iterator[tuple[date, ListFact]]:
        """Every list that can be booked, in order."""
        for number in range((self.closes - self.opened).days + 1):
            day = self.opened + timedelta(days=number)
            yield from ((day, fact) for fact in self.lists if day.weekday() in fact.weekdays)

    def is_held(self, day: date, lane: str = "review") -> bool:
        return day.weekday() in self._weekdays(lane)

    def can_book(self, day: date, lane: str = "review") -> bool:
        return self.opened <= day <= self.closes and self.is_held(day, lane)

    def from_day(self, day: date, lane: str = "review") -> date:
        """The first day at or after `day` with a list for this lane."""
        return self._nearest(day, lane, 1)

    def until_day(self, day: date, lane: str = "review") -> date:
        """The last day at or before `day` with a list for this lane."""
        return self._nearest(day, lane, -1)

    def _nearest(self, day: date, lane: str, step: int) -> date:
        weekdays = self._weekdays(lane)
        distance = next(n for n in range(7) if (day + timedelta(days=step * n)).weekday() in weekdays)
        return day + timedelta(days=step * distance)

    def _weekdays(self, lane: str) -> set[int]:
        kind = _KIND_OF_LANE[lane]
        return {weekday for fact in self.lists if fact.kind == kind for weekday in fact.weekdays}
