"""Which entries of a calendar are sessions, of what kind, with how many places."""

from __future__ import annotations

from datetime import date, time

import pytest

from followup.domain.errors import BadValue
from followup.domain.words import SessionKind
from followup.interchange.feeds.sessions_in import KindOfSession, Kinds, read_kind, read_sessions
from followup.models import Site
from followup.services.session_plan import CalendarOfSessions
from tests.interchange.feeds.calendars import CAIRO, calendar, event

CLINIC, THEATRE = KindOfSession(SessionKind.CLINIC, 10), KindOfSession(SessionKind.THEATRE, 4)
SITE = Site(name="Harbour Eye Clinic", time_zone=CAIRO)
START = "DTSTART;TZID=Africa/Cairo:20250610T090000"


def sessions(
    *lines: str, usual: KindOfSession | None = CLINIC, **named: KindOfSession
) -> tuple[CalendarOfSessions, list[str]]:
    found, problems = read_sessions(
        calendar(*lines),
        site=SITE,
        kinds=Kinds(usual, named),
        name="clinics",
        first=date(2025, 6, 1),
        last=date(2025, 6, 30),
    )
    return found, [problem.message for problem in problems]


def test_a_session_has_the_hours_of_the_wall_at_the_site() -> None:
    found, problems = sessions(
        *event("SUMMARY:Retina  clinic", "DURATION:PT3H", start="DTSTART:20250610T060000Z")
    )
    (session,) = found.sessions
    assert (session.title, session.day, session.starts, session.ends) == (
        "Retina clinic",
        date(2025, 6, 10),
        time(9),
        time(12),
    )
    assert (session.kind, session.places, problems, found.whole) == ("clinic", 10, [], True)


@pytest.mark.parametrize(
    ("lines", "kind"),
    [
        (["CATEGORIES:Surgery"], ("theatre", 4)),
        (["CATEGORIES:Eyes,surgery"], ("theatre", 4)),
        (["SUMMARY:SURGERY"], ("theatre", 4)),
        (["SUMMARY:Retina"], ("clinic", 10)),
    ],
)
def test_the_kind_is_by_category_then_by_name_then_the_usual_one(
    lines: list[str], kind: tuple[str, int]
) -> None:
    found, _ = sessions(*event(*lines, "DURATION:PT3H", start=START), surgery=THEATRE)
    assert [(session.kind, session.places) for session in found.sessions] == [kind]


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        (event(start=START), "2025-06-10: it has no end after its start."),
        (event("DURATION:PT20H", start=START), "2025-06-10: it ends on another day, 2025-06-11 05:00."),
        (event(start="DTSTART;VALUE=DATE:20250610"),
         "2025-06-10: it lasts whole days, and a session has hours."),
        (event("DURATION:PT3H", f"SUMMARY:{81 * 'x'}", start=START),
         "2025-06-10: its name has more than 80 characters."),
    ],
)  # fmt: skip
def test_an_entry_that_is_no_session_is_refused_and_its_sessions_stay(lines: list[str], message: str) -> None:
    found, problems = sessions(*lines)
    assert (found.sessions, problems, found.unread) == ((), [message], {"a@clinic.example"})


def test_a_file_cut_off_is_not_whole() -> None:
    data = calendar(*event("DURATION:PT3H", start=START)).partition(b"END:VCALENDAR")[0]
    found, _ = read_sessions(
        data, site=SITE, kinds=Kinds(CLINIC), name="", first=date(2025, 6, 1), last=date(2025, 6, 30)
    )
    assert (len(found.sessions), found.whole) == (1, False)


def test_an_entry_of_no_stated_kind_is_refused() -> None:
    found, problems = sessions(*event("DURATION:PT3H", start=START), usual=None)
    assert found.sessions == ()
    assert problems == [
        "2025-06-10: it is not stated what kind of session this is, nor how many places it has."
    ]


def test_every_repetition_is_a_session_of_its_own() -> None:
    found, _ = sessions(*event("DURATION:PT3H", "RRULE:FREQ=WEEKLY", "SUMMARY:Retina", start=START))
    assert [session.recurrence for session in found.sessions] == [
        "20250610T060000Z",
        "20250617T060000Z",
        "20250624T060000Z",
    ]


def test_a_kind_as_a_person_writes_it() -> None:
    assert read_kind("Left = right list=theatre:4") == ("Left = right list", THEATRE)
    for wrong in ("theatre:4", "A=theatre", "A=ward:4", "A=clinic:many", "=clinic:4"):
        with pytest.raises(BadValue, match="does not say which entries are what"):
            read_kind(wrong)
