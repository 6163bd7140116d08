"""A calendar of sessions on its page: looked at, confirmed, taken in again, and never doubled."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from followup.models import Change, Session, SessionCalendar, Site, Staff
from tests.builders import days, make_appointment, make_patient, make_session, make_staff
from tests.interchange.feeds.calendars import calendar, event
from tests.web.stories import send, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_nine")]
FORM = {"name": "clinics", "usual_kind": "clinic", "usual_places": "10", "named": "", "days": "60"}
WEEKLY = event(
    "SUMMARY:Retina clinic", "DURATION:PT3H", "RRULE:FREQ=WEEKLY;COUNT=4", start="DTSTART:20260309T090000Z"
)
LATER = [line.replace("DURATION:PT3H", "DURATION:PT4H") for line in WEEKLY]
FEWER = [line.replace("COUNT=4", "COUNT=3") for line in WEEKLY]


@pytest.fixture
def client(harbour: Site, enter: Callable[[Staff], Client]) -> Client:
    return enter(make_staff(role="coordinator", site=harbour))


def read_in(client: Client, *lines: str, **said: str) -> str:
    """Chooses a file; the page that says what it would do, or why it is refused."""
    file = SimpleUploadedFile("clinics.ics", calendar(*lines))
    return text_of(send(client, "/sessions/calendars/", **FORM | said, file=file))


def confirm(client: Client, page: str) -> str:
    shown = re.search(r'name="shown" value="(\w+)"', page)
    assert shown is not None
    kept = SessionCalendar.objects.get()
    return text_of(send(client, f"/sessions/calendars/{kept.pk}/", shown=shown[1]))


def on_record() -> list[tuple[str, str, bool]]:
    rows = Session.objects.order_by("day")
    return [(f"{row.day:%d %b}", f"{row.starts:%H:%M}-{row.ends:%H:%M}", row.cancelled) for row in rows]


FOUR = [(day, "09:00-12:00", False) for day in ("09 Mar", "16 Mar", "23 Mar", "30 Mar")]


def test_nothing_is_written_before_it_is_confirmed(client: Client) -> None:
    page = read_in(client, *WEEKLY)
    assert "Calendar clinics, 60 days from today: 4 new." in page
    assert "Mon 9 Mar 2026, 09:00" in page
    assert on_record() == []
    assert "clinics: 4 new." in confirm(client, page)
    assert on_record() == FOUR


def test_taken_in_again_it_doubles_nothing(client: Client) -> None:
    confirm(client, read_in(client, *WEEKLY))
    page = read_in(client, *WEEKLY)
    assert "There is nothing to write." in page
    assert on_record() == FOUR
    assert SessionCalendar.objects.count() == 1


def test_a_newer_file_changes_what_changed_and_cancels_what_is_gone(client: Client) -> None:
    confirm(client, read_in(client, *WEEKLY))
    page = read_in(client, *LATER)
    assert "4 changed" in page
    assert "Ends 12:00, now 13:00." in page
    confirm(client, page)
    assert {hours for _, hours, _ in on_record()} == {"09:00-13:00"}
    confirm(client, read_in(client, *FEWER))
    assert [cancelled for *_, cancelled in on_record()] == [False, False, False, True]


def test_where_people_are_booked_a_person_decides(client: Client, harbour: Site) -> None:
    confirm(client, read_in(client, *WEEKLY))
    make_appointment(patient=make_patient(site=harbour), session=Session.objects.get(day=days(28)))
    page = read_in(client, *FEWER)
    assert "1 person is booked: move them, then cancel it." in page
    assert "There is nothing to write." in page
    assert not any(cancelled for *_, cancelled in on_record())


def test_what_changed_since_it_was_shown_is_shown_again(client: Client, harbour: Site) -> None:
    page = read_in(client, *WEEKLY)
    make_session(site=harbour, day=days(7), title="Retina clinic")
    again = confirm(client, page)
    assert "The sessions changed since you looked. Look again, then confirm." in again
    assert Session.objects.count() == 1
    confirm(client, again)
    assert Session.objects.count() == 4


def test_kinds_by_name_and_what_is_left_out(client: Client) -> None:
    theatre = event(
        "SUMMARY:Theatre", "DURATION:PT3H", uid="b@clinic.example", start="DTSTART:20260310T090000Z"
    )
    said = {"usual_kind": "", "usual_places": "", "named": "Theatre=theatre:4\r\n"}
    page = read_in(client, *WEEKLY, *theatre, **said)
    assert "1 new" in page
    assert "Refused." in page
    assert "it is not stated what kind of session this is" in page
    confirm(client, page)
    (session,) = Session.objects.all()
    assert (session.kind, session.places, session.source_calendar) == ("theatre", 4, "clinics")


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ({"usual_places": ""}, "Give the usual kind and its places together, or neither."),
        ({"usual_kind": "", "usual_places": ""}, "Say what the entries are"),
        ({"named": "Theatre"}, '"Theatre" does not say which entries are what.'),
        ({"name": " "}, "This field is required."),
        ({"days": "0"}, "greater than or equal to 1"),
    ],
)
def test_what_was_typed_wrong_is_told_and_kept(client: Client, said: dict[str, str], told: str) -> None:
    assert told in read_in(client, *WEEKLY, **said)
    assert not SessionCalendar.objects.exists()


def test_what_is_no_calendar_is_refused(client: Client) -> None:
    file = SimpleUploadedFile("log.csv", b"no,eye\n1,R\n")
    page = text_of(send(client, "/sessions/calendars/", **FORM, file=file))
    assert "where an iCalendar file has BEGIN:VCALENDAR" in page
    assert not SessionCalendar.objects.exists()


def test_a_newer_file_is_read_as_the_last_one_was(client: Client) -> None:
    assert "No calendar was taken in" in text_of(client.get("/sessions/calendars/"))
    read_in(client, *WEEKLY, named="Theatre=theatre:4")
    page = text_of(client.get("/sessions/calendars/"))
    assert "Not yet" in page
    kept = SessionCalendar.objects.get()
    again = text_of(client.get(f"/sessions/calendars/?again={kept.pk}"))
    assert 'value="clinics"' in again
    assert "Theatre=theatre:4" in again
    assert Change.objects.get().verb == "keep_session_calendar"


def test_the_queries_are_as_many_for_a_year_as_for_a_week(
    client: Client, django_assert_max_num_queries
) -> None:
    weekly = [line.replace("COUNT=4", "COUNT=50") for line in WEEKLY]
    read_in(client, *weekly, days="400")
    kept = SessionCalendar.objects.get()
    with django_assert_max_num_queries(20):
        assert "50 new" in text_of(client.get(f"/sessions/calendars/{kept.pk}/"))
