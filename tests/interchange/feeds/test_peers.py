"""Every hour of two years, as programs of other makes read it: across each change of the clocks.

vobject has a parser of its own and dateutil rules of its own for zones; vdirsyncer and khal are what people
subscribe with. Held against the wall time that stands in the text of each entry.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from uuid import UUID

import pytest
import vobject
from dateutil import tz

from followup.domain.dates.zones import zone
from followup.interchange.feeds.calendar import written_calendar
from followup.models import Site
from followup.queries.calendar import CalendarRow
from tests.interchange.feeds.subscriber import Subscriber, served

FIRST, LAST = datetime(2026, 1, 1, tzinfo=UTC), datetime(2028, 1, 1, tzinfo=UTC)


def every_hour(zone_name: str) -> Iterator[CalendarRow]:
    """An appointment at each hour that passes, also those that the wall shows twice."""
    starts, number = FIRST, 0
    while starts < LAST:
        wall = starts.astimezone(zone(zone_name))
        yield CalendarRow(UUID(int=number), 0, FIRST, starts, 20, wall.date(), wall.time(), "booked")
        starts, number = starts + timedelta(hours=1), number + 1


def told(day_and_time: datetime, zone_name: str) -> str:
    return f"{day_and_time:%-d %b %Y, %H:%M} local time at Harbour Eye Clinic ({zone_name})."


@pytest.mark.parametrize("name", ["Africa/Cairo", "Africa/Casablanca"])
def test_another_parser_and_other_zone_rules_read_every_hour_as_it_is_told(name: str) -> None:
    """Cairo changes its clocks at midnight; Casablanca goes back for Ramadan."""
    rows = list(every_hour(name))
    content = written_calendar(Site(name="Harbour Eye Clinic", time_zone=name), rows)
    place = tz.gettz(name)
    found = vobject.readOne(content.decode()).vevent_list
    assert len(found) == len(rows) == 24 * 730
    for row, event in zip(rows, found, strict=True):
        assert event.dtstart.value == row.starts_at
        assert event.description.value == told(event.dtstart.value.astimezone(place), name)
        assert event.dtend.value - event.dtstart.value == timedelta(minutes=20)


def test_a_subscriber_sees_every_hour_as_it_is_told(tmp_path: Path) -> None:
    name = "Europe/Berlin"
    rows = list(every_hour(name))
    content = written_calendar(Site(name="Harbour Eye Clinic", time_zone=name), rows)
    (tmp_path / "calendar.ics").write_bytes(content)
    with served(tmp_path) as address:
        subscriber = Subscriber(tmp_path, f"{address}/calendar.ics", name)
        subscriber.fetch()
    shown = subscriber.shown("2025-12-31", "732d")
    assert len(shown) == len(rows)
    wrong = [each for each in shown if each.text != told(datetime.fromisoformat(each.starts), name)]
    assert wrong == []
    walls = sorted(f"{row.day} {row.local_time:%H:%M}" for row in rows)
    assert sorted(each.starts for each in shown) == walls
