"""Sessions opened from the rota: once each, but for days left out, closures and public holidays."""

from __future__ import annotations

from datetime import date, time, timedelta
from typing import Any

import pytest

from followup.domain.errors import FollowUpError
from followup.models import Change, PatternException, Session, SessionPattern
from followup.services import rota
from followup.services.cancel_session import cancel_session
from followup.services.rota_plan import RotaRow
from tests.builders import (
    NOW,
    days,
    make_appointment,
    make_closure,
    make_exception,
    make_pattern,
    make_session,
)
from tests.services.conftest import Clinic, last_change

MONDAYS = [days(0), days(7), days(14), days(21)]


@pytest.fixture
def clinic(clinic: Clinic) -> Clinic:
    """It opens sessions three weeks ahead: 2, 9, 16 and 23 March 2026 are its Mondays."""
    clinic.site.sessions_weeks_ahead = 3
    clinic.site.save()
    return clinic


def opened(clinic: Clinic) -> list[tuple[str, str]]:
    rows = rota.open_sessions(by=clinic.coordinator, now=NOW, site=clinic.site)
    return [(row.outcome.value, str(row.session.day)) for row in rows]


def held(clinic: Clinic) -> list[date]:
    sessions = Session.objects.filter(site=clinic.site, cancelled=False)
    return list(sessions.order_by("day").values_list("day", flat=True))


def reasons(rows: list[RotaRow]) -> list[tuple[str, str]]:
    return [(row.outcome.value, row.reason) for row in rows]


def test_the_sessions_of_the_next_weeks_are_opened_once(clinic: Clinic) -> None:
    make_pattern(site=clinic.site, urgent_places=2)
    assert opened(clinic) == [("opened", str(day)) for day in MONDAYS]
    assert opened(clinic) == []
    assert held(clinic) == MONDAYS
    session = Session.objects.get(day=days(7))
    assert (session.places, session.urgent_places, session.starts, session.pattern_day) == (
        6,
        2,
        time(9),
        days(7),
    )
    assert Change.objects.filter(verb="open_session").count() == 4


def test_a_later_night_opens_what_has_come_within_reach(clinic: Clinic) -> None:
    make_pattern(site=clinic.site)
    opened(clinic)
    rows = rota.open_sessions(by=None, now=NOW + timedelta(days=7), site=clinic.site)
    assert [row.session.day for row in rows] == [days(28)]


def test_a_session_that_somebody_opened_by_hand_is_not_doubled(clinic: Clinic) -> None:
    pattern = make_pattern(site=clinic.site)
    make_session(site=clinic.site, title=pattern.title, day=days(7), starts=time(9))
    opened(clinic)
    assert held(clinic) == MONDAYS


def test_a_session_that_somebody_cancelled_stays_cancelled(clinic: Clinic) -> None:
    make_pattern(site=clinic.site)
    opened(clinic)
    session = Session.objects.get(day=days(7))
    cancel_session(by=clinic.coordinator, now=NOW, session=session, reason="Surgeon ill")
    assert opened(clinic) == []
    assert days(7) not in held(clinic)


def test_a_day_left_out_is_withdrawn_and_taken_back_opens_again(clinic: Clinic) -> None:
    pattern = make_pattern(site=clinic.site)
    opened(clinic)
    rows = rota.except_day(
        by=clinic.coordinator, now=NOW, pattern=pattern, day=days(7), left_out=True, reason="Congress"
    )
    assert reasons(rows) == [("withdrawn", "Not in the rota.")]
    assert held(clinic) == [days(0), days(14), days(21)]
    exception = PatternException.objects.get()
    rows = rota.remove_exception(by=clinic.coordinator, now=NOW, exception=exception)
    assert (reasons(rows), held(clinic)) == ([("reopened", "")], MONDAYS)
    assert Session.objects.count() == 4


def test_a_day_held_otherwise_has_its_own_hours_and_places(clinic: Clinic) -> None:
    pattern = make_pattern(site=clinic.site, urgent_places=2)
    opened(clinic)
    rota.except_day(
        by=clinic.coordinator,
        now=NOW,
        pattern=pattern,
        day=days(7),
        left_out=False,
        starts=time(13),
        ends=time(14),
        places=1,
        reason="Half the room",
    )
    session = Session.objects.get(day=days(7))
    assert (session.starts, session.ends, session.places, session.urgent_places) == (time(13), time(14), 1, 1)
    assert last_change().before == {"starts": "09:00:00", "ends": "12:00:00", "places": 6, "urgent_places": 2}


def test_a_closure_withdraws_every_session_in_it_and_a_day_said_to_be_held_is(clinic: Clinic) -> None:
    pattern = make_pattern(site=clinic.site)
    make_exception(pattern=pattern, day=days(14), left_out=False, reason="Urgent list")
    opened(clinic)
    rows = rota.add_closure(
        by=clinic.coordinator,
        now=NOW,
        site=clinic.site,
        first_day=days(7),
        last_day=days(21),
        reason="Building work",
    )
    assert reasons(rows) == [("withdrawn", "Building work")] * 2
    assert held(clinic) == [days(0), days(14)]
    closure = clinic.site.closures.get()
    assert len(rota.remove_closure(by=clinic.coordinator, now=NOW, closure=closure)) == 2
    assert held(clinic) == MONDAYS


def test_a_session_with_people_in_it_is_left_for_a_person(clinic: Clinic) -> None:
    pattern = make_pattern(site=clinic.site)
    opened(clinic)
    session = Session.objects.get(day=days(7))
    make_appointment(session=session, patient=clinic.patient())
    rows = rota.except_day(
        by=clinic.coordinator, now=NOW, pattern=pattern, day=days(7), left_out=True, reason="Congress"
    )
    assert reasons(rows) == [
        ("needs a person", "Not in the rota. 1 person is booked: cancel it, and move them.")
    ]
    assert held(clinic) == MONDAYS


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        (
            {"starts": time(10)},
            "2 people are booked at the old hours: move them, then open the rota again.",
        ),
        ({"places": 1}, "2 people are booked, more than 1 places."),
    ],
)
def test_hours_are_not_changed_under_people(clinic: Clinic, change: dict[str, Any], reason: str) -> None:
    pattern = make_pattern(site=clinic.site)
    opened(clinic)
    session = Session.objects.get(day=days(7))
    for at in (time(9), time(9, 30)):
        make_appointment(session=session, patient=clinic.patient(), local_time=at)
    make_exception(pattern=pattern, left_out=False, **change)
    rows = rota.open_sessions(by=None, now=NOW, site=clinic.site)
    assert reasons(rows) == [("needs a person", reason)]


def test_public_holidays_open_nothing_unless_one_is_said_to_be_held(clinic: Clinic) -> None:
    # Easter Monday, 6 April 2026, is a holiday in all of Germany (Gregorian Easter: 5 April 2026).
    clinic.site.country, clinic.site.sessions_weeks_ahead = "DE", 6
    clinic.site.save()
    make_pattern(site=clinic.site)
    assert days(35) == date(2026, 4, 6)
    opened(clinic)
    assert held(clinic) == [days(7 * week) for week in (0, 1, 2, 3, 4, 6)]
    make_exception(pattern=SessionPattern.objects.get(), day=days(35), left_out=False)
    assert opened(clinic) == [("opened", "2026-04-06")]


def test_the_hour_that_the_clocks_skip_needs_a_person(clinic: Clinic) -> None:
    # Cairo put its clocks forward at midnight on Friday 24 April 2026.
    clinic.site.sessions_weeks_ahead = 8
    clinic.site.save()
    make_pattern(site=clinic.site, weekday=4, starts=time(0, 30), first_day=date(2026, 4, 24))
    rows = rota.open_sessions(by=None, now=NOW, site=clinic.site)
    assert [row.outcome.value for row in rows] == ["needs a person"]
    assert "does not exist in Africa/Cairo" in rows[0].reason


def test_an_ended_pattern_withdraws_what_is_later(clinic: Clinic) -> None:
    pattern = make_pattern(site=clinic.site)
    opened(clinic)
    rota.end_pattern(by=clinic.coordinator, now=NOW, pattern=pattern, last_day=days(8))
    assert held(clinic) == [days(0), days(7)]
    rota.end_pattern(by=clinic.coordinator, now=NOW, pattern=pattern, last_day=days(60))
    assert held(clinic) == MONDAYS


PATTERN: dict[str, Any] = {
    "kind": "clinic",
    "title": "Retina",
    "weekday": 2,
    "starts": time(9),
    "ends": time(12),
    "places": 9,
    "first_day": days(0),
}


def test_a_new_pattern_opens_its_sessions(clinic: Clinic) -> None:
    pattern, rows = rota.add_pattern(
        by=clinic.coordinator, now=NOW, site=clinic.site, **PATTERN | {"every_weeks": 2}
    )
    assert [row.session.day for row in rows] == [days(2), days(16)]
    assert Change.objects.get(verb="add_pattern").subject_id == pattern.pk


@pytest.mark.parametrize(
    ("fields", "code", "field"),
    [
        ({"kind": "ward"}, "unknown_code", "kind"),
        ({"title": " "}, "missing", "title"),
        ({"weekday": 7}, None, "weekday"),
        ({"ends": time(9)}, "ends_before_it_starts", "ends"),
        ({"places": 0}, "places_range", "places"),
        ({"urgent_places": 10}, "urgent_places_range", "urgent_places"),
        ({"last_day": days(-1)}, "last_before_first", "last_day"),
        ({"last_day": days(1)}, "no_day", "last_day"),
        ({"every_weeks": 0}, None, "every_weeks"),
        ({"title": "Taken"}, "pattern_exists", "title"),
    ],
)
def test_a_pattern_is_refused(clinic: Clinic, fields: dict[str, Any], code: str | None, field: str) -> None:
    make_pattern(site=clinic.site, title="Taken", weekday=2)
    with pytest.raises(FollowUpError) as refused:
        rota.add_pattern(by=clinic.coordinator, now=NOW, site=clinic.site, **PATTERN | fields)
    assert refused.value.field == field
    assert code is None or refused.value.code == code
    assert not Session.objects.exists()


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"day": days(8)}, "not_a_day_of_the_pattern"),
        ({"day": days(-7)}, "not_a_day_of_the_pattern"),
        ({"places": 3}, "left_out_or_changed"),
        ({"reason": " "}, "missing"),
        ({"left_out": False, "ends": time(8)}, "ends_before_it_starts"),
        ({"left_out": False, "places": 500}, "places_range"),
    ],
)
def test_a_day_is_refused(clinic: Clinic, fields: dict[str, Any], code: str) -> None:
    pattern = make_pattern(site=clinic.site, first_day=days(-30))
    said: dict[str, Any] = {"day": days(7), "left_out": True, "reason": "Congress"} | fields
    with pytest.raises(FollowUpError) as refused:
        rota.except_day(by=clinic.coordinator, now=NOW, pattern=pattern, **said)
    assert refused.value.code == code
    assert not PatternException.objects.exists()


def test_a_closure_that_ends_before_it_begins_is_refused(clinic: Clinic) -> None:
    with pytest.raises(FollowUpError) as refused:
        rota.add_closure(
            by=None, now=NOW, site=clinic.site, first_day=days(3), last_day=days(2), reason="Flood"
        )
    assert refused.value.code == "last_before_first"


def test_another_site_s_closure_shuts_nothing_here(clinic: Clinic) -> None:
    make_pattern(site=clinic.site)
    make_closure(first_day=days(0), last_day=days(30))
    assert len(opened(clinic)) == 4
