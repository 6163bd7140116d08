"""Places kept for urgent people: nobody else takes them before the day itself."""

from __future__ import annotations

from datetime import date
from itertools import product

import pytest

from followup.domain.errors import FollowUpError
from followup.models import Session
from followup.queries.sessions import SessionRow, sessions_from
from followup.services.booking import book_appointment, move_appointment
from tests.builders import NOW, TODAY, days, make_session
from tests.services.conftest import Clinic


def book(clinic: Clinic, session: Session, *, urgent: bool, today: date = TODAY) -> str:
    try:
        book_appointment(
            by=None,
            now=NOW,
            today=today,
            patient=clinic.patient(),
            session=session,
            lane="review",
            urgent=urgent,
        )
    except FollowUpError as refused:
        return refused.code
    return "booked"


@pytest.mark.parametrize(
    ("who", "said"),
    [
        ("rrr", ["booked", "booked", "kept_for_urgent"]),
        ("rruu", ["booked", "booked", "booked", "session_full"]),
        ("uuuu", ["booked", "booked", "booked", "session_full"]),
        ("uurr", ["booked", "booked", "booked", "session_full"]),
        ("urru", ["booked", "booked", "booked", "session_full"]),
        ("urrr", ["booked", "booked", "booked", "session_full"]),
    ],
)
def test_one_of_three_places_is_kept(clinic: Clinic, who: str, said: list[str]) -> None:
    session = make_session(site=clinic.site, places=3, urgent_places=1)
    assert [book(clinic, session, urgent=each == "u") for each in who] == said


def test_on_the_day_itself_everybody_may_take_them(clinic: Clinic) -> None:
    session = make_session(site=clinic.site, places=1, urgent_places=1, day=days(1))
    assert book(clinic, session, urgent=False) == "kept_for_urgent"
    assert book(clinic, session, urgent=False, today=days(1)) == "booked"


def test_a_move_keeps_to_it_too(clinic: Clinic) -> None:
    kept = make_session(site=clinic.site, places=1, urgent_places=1)
    place = book_appointment(
        by=None,
        now=NOW,
        today=TODAY,
        patient=clinic.patient(),
        session=make_session(site=clinic.site),
        lane="review",
    )
    with pytest.raises(FollowUpError) as refused:
        move_appointment(by=None, now=NOW, today=TODAY, appointment=place, session=kept)
    assert refused.value.code == "kept_for_urgent"


def test_the_list_says_how_many_are_left_for_whom(clinic: Clinic) -> None:
    session = make_session(site=clinic.site, places=4, urgent_places=2)
    book(clinic, session, urgent=False)
    (row,) = sessions_from(clinic.site, TODAY)
    assert (row.free, row.free_on(TODAY), row.free_on(session.day)) == (3, 1, 3)


def test_what_is_told_as_free_is_never_more_than_the_places() -> None:
    for places, kept, routine, urgent in product(range(1, 5), range(5), range(5), range(5)):
        if kept <= places and routine + urgent <= places:
            session = Session(places=places, urgent_places=kept, day=days(7))
            row = SessionRow(session, routine + urgent, routine)
            assert 0 <= row.free_on(TODAY) <= row.free == row.free_on(days(7)) == places - routine - urgent
