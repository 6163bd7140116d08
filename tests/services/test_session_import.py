"""A calendar of sessions: previewed, imported, imported again, and nobody's booked place touched."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, time, timedelta
from typing import Any

import pytest

from followup.domain.errors import NotAllowed
from followup.models import Change, Session
from followup.services.cancel_session import cancel_session
from followup.services.session_import import import_sessions, preview_sessions
from followup.services.session_plan import CalendarOfSessions, CalendarSession, SessionRow
from tests.builders import NOW, TODAY, days, make_appointment, make_session, make_site, make_staff
from tests.services.conftest import Clinic, last_change


def said(number: int = 1, **fields: Any) -> CalendarSession:
    """A Retina clinic of so many weeks ahead, from nine to twelve."""
    dull = {
        "line": number,
        "uid": f"{number}@calendar.example",
        "recurrence": "",
        "kind": "clinic",
        "title": "Retina",
        "day": TODAY + timedelta(weeks=number),
        "starts": time(9),
        "ends": time(12),
        "places": 9,
    }
    return CalendarSession(**dull | fields)


def calendar(*sessions: CalendarSession, **fields: Any) -> CalendarOfSessions:
    dull = {"name": "clinics", "first": TODAY, "last": days(400), "sessions": sessions}
    return CalendarOfSessions(**dull | fields)


def take_in(clinic: Clinic, *sessions: CalendarSession, **fields: Any) -> list[SessionRow]:
    return import_sessions(
        by=clinic.coordinator, now=NOW, site=clinic.site, calendar=calendar(*sessions, **fields)
    )


def told(rows: list[SessionRow]) -> list[tuple[str, str]]:
    return [(row.outcome.value, row.reason) for row in rows]


def on_record(clinic: Clinic) -> list[tuple[date, time, bool]]:
    rows = Session.objects.filter(site=clinic.site).order_by("day", "starts")
    return list(rows.values_list("day", "ends", "cancelled"))


def test_a_preview_writes_nothing(clinic: Clinic) -> None:
    rows = preview_sessions(now=NOW, site=clinic.site, calendar=calendar(said()))
    assert told(rows) == [("new", "")]
    assert on_record(clinic) == []


def test_importing_opens_and_importing_again_doubles_nothing(clinic: Clinic) -> None:
    assert told(take_in(clinic, said(1), said(2))) == [("new", ""), ("new", "")]
    assert last_change().verb == "open_session"
    assert last_change().after["source_uid"] == "2@calendar.example"
    before = Change.objects.count()
    assert told(take_in(clinic, said(1), said(2))) == [("same", ""), ("same", "")]
    assert Change.objects.count() == before
    assert on_record(clinic) == [(days(7), time(12), False), (days(14), time(12), False)]


def test_a_change_in_the_calendar_changes_the_session(clinic: Clinic) -> None:
    take_in(clinic, said())
    rows = take_in(clinic, said(day=days(8), ends=time(13)))
    assert told(rows) == [("changed", "Day 2026-03-09, now 2026-03-10. Ends 12:00, now 13:00.")]
    assert on_record(clinic) == [(days(8), time(13), False)]
    assert last_change().verb == "change_session"
    assert last_change().before == {"day": "2026-03-09", "ends": "12:00:00"}


def test_repetitions_of_one_entry_are_told_apart(clinic: Clinic) -> None:
    first, second = (
        said(1, uid="u", recurrence="20260309T070000Z"),
        said(2, uid="u", recurrence="20260316T070000Z"),
    )
    take_in(clinic, first, second)
    rows = take_in(clinic, first, replace(second, day=days(15)))
    assert [row.outcome.value for row in rows] == ["same", "changed"]
    assert [day for day, _, _ in on_record(clinic)] == [days(7), days(15)]


def test_what_is_gone_is_cancelled_and_may_come_back(clinic: Clinic) -> None:
    take_in(clinic, said(1), said(2))
    assert told(take_in(clinic, said(1))) == [("same", ""), ("gone", "No longer in the calendar.")]
    assert on_record(clinic)[1] == (days(14), time(12), True)
    assert told(take_in(clinic, said(1), said(2))) == [("same", ""), ("changed", "Open again.")]
    assert on_record(clinic)[1] == (days(14), time(12), False)


def test_what_the_calendar_cancels_is_cancelled(clinic: Clinic) -> None:
    take_in(clinic, said(1))
    rows = take_in(clinic, said(1, cancelled=True), said(2, cancelled=True))
    assert told(rows) == [("gone", "Cancelled in the calendar.")]
    assert on_record(clinic) == [(days(7), time(12), True)]
    assert told(take_in(clinic, said(1, cancelled=True))) == [("same", "")]


@pytest.mark.parametrize(
    ("sessions", "reason"),
    [
        ([], "No longer in the calendar. 1 person is booked: move them, then cancel it."),
        ([said(cancelled=True)], "Cancelled in the calendar. 1 person is booked: move them, then cancel it."),
        ([said(day=days(8))], "1 person is booked: move them, then import again."),
        ([said(starts=time(10))], "1 person is booked: move them, then import again."),
        ([said(places=0)], "1 person is booked, more than 0 places."),
    ],
)
def test_a_session_with_people_booked_needs_a_person(
    clinic: Clinic, sessions: list[CalendarSession], reason: str
) -> None:
    take_in(clinic, said())
    make_appointment(patient=clinic.patient(), session=Session.objects.get())
    assert told(take_in(clinic, *sessions)) == [("needs a person", reason)]
    assert on_record(clinic) == [(days(7), time(12), False)]


def test_more_places_and_another_name_disturb_nobody(clinic: Clinic) -> None:
    take_in(clinic, said())
    make_appointment(patient=clinic.patient(), session=Session.objects.get())
    rows = take_in(clinic, said(title="Retina A", places=12))
    assert told(rows) == [("changed", "Title Retina, now Retina A. Places 9, now 12.")]


def test_a_session_cancelled_here_is_not_opened_again_by_the_calendar(clinic: Clinic) -> None:
    take_in(clinic, said())
    cancel_session(by=clinic.coordinator, now=NOW, session=Session.objects.get(), reason="Flooded")
    assert told(take_in(clinic, said())) == [
        ("needs a person", "Cancelled here and still in the calendar: nothing is done.")
    ]


def test_a_session_opened_by_hand_is_taken_over_not_doubled(clinic: Clinic) -> None:
    make_session(site=clinic.site, title="Retina", day=days(7), places=9)
    assert told(take_in(clinic, said())) == [("changed", "Opened by hand; the calendar leads now.")]
    assert Session.objects.get().source_uid == "1@calendar.example"


def test_a_calendar_with_new_uids_at_every_export_doubles_and_cancels_nothing(clinic: Clinic) -> None:
    take_in(clinic, said(1), said(2))
    rows = take_in(clinic, said(1, uid="new1"), said(2, uid="new2"))
    assert told(rows) == 2 * [("changed", "Has another UID now.")]
    assert on_record(clinic) == [(days(7), time(12), False), (days(14), time(12), False)]
    assert told(take_in(clinic, said(1, uid="new1"), said(2, uid="new2"))) == [("same", ""), ("same", "")]


@pytest.mark.parametrize("fields", [{"whole": False}, {"unread": frozenset({"2@calendar.example"})}])
def test_what_could_not_be_read_is_not_taken_away(clinic: Clinic, fields: dict[str, Any]) -> None:
    take_in(clinic, said(1), said(2))
    rows = take_in(clinic, said(1), **fields)
    reason = "Its entry in the calendar could not be read: it stays as it is."
    assert told(rows) == [("same", ""), ("needs a person", reason)]


def test_another_calendar_and_another_period_take_nothing_away(clinic: Clinic) -> None:
    take_in(clinic, said(1), said(2))
    assert told(take_in(clinic, name="theatre")) == []
    assert told(take_in(clinic, said(1), last=days(10))) == [("same", "")]


@pytest.mark.parametrize(
    ("session", "reason"),
    [
        (said(places=0), "0 places do not fit: this list can hold 1 to 180."),
        (said(places=999), "999 places do not fit: this list can hold 1 to 180."),
        (said(day=days(-1)), "1 Mar 2026 is over. Choose a day from today on."),
        (said(day=date(2026, 4, 24), starts=time(0, 30)), "2026-04-24 00:30 does not exist in Africa/Cairo: "
         "the clocks go forward over it. The next valid time is 2026-04-24 01:00."),
    ],
)  # fmt: skip
def test_a_session_that_cannot_be_is_refused_and_the_rest_taken(
    clinic: Clinic, session: CalendarSession, reason: str
) -> None:
    assert told(take_in(clinic, session, said(2))) == [("refused", reason), ("new", "")]


def test_one_time_cannot_hold_two_sessions_of_a_name(clinic: Clinic) -> None:
    rows = take_in(clinic, said(1), said(1), said(1, uid="other"))
    assert told(rows) == [
        ("new", ""),
        ("refused", "Stands twice in the calendar."),
        ("refused", "A session of this name at this time is there already."),
    ]


def test_a_session_that_is_over_is_not_moved(clinic: Clinic) -> None:
    make_session(site=clinic.site, day=days(-3), source_uid="1@calendar.example", title="Retina")
    assert told(take_in(clinic, said())) == [
        ("needs a person", "Was on 27 Feb 2026, which is over. A new one needs a UID of its own.")
    ]


def test_sites_do_not_mix(clinic: Clinic) -> None:
    take_in(clinic, said())
    other = make_site()
    rows = import_sessions(by=None, now=NOW, site=other, calendar=calendar(said()))
    assert told(rows) == [("new", "")]


def test_an_auditor_may_not_import(clinic: Clinic) -> None:
    auditor = make_staff(role="auditor", site=clinic.site)
    with pytest.raises(NotAllowed):
        import_sessions(by=auditor, now=NOW, site=clinic.site, calendar=calendar(said()))


def test_the_number_of_queries_of_a_preview_does_not_grow(
    clinic: Clinic, django_assert_max_num_queries: Any
) -> None:
    take_in(clinic, *(said(number) for number in range(1, 20)))
    with django_assert_max_num_queries(4):
        preview_sessions(now=NOW, site=clinic.site, calendar=calendar(*(said(n) for n in range(1, 30))))
