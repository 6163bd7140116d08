"""A session falls away: its people move together, or are to be booked with the day first due in view."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from followup.domain.errors import FollowUpError
from followup.models import Appointment, Change, Session
from followup.queries.postponed import postponements
from followup.services.booking import book_appointment
from followup.services.cancel_session import cancel_session
from tests.builders import (
    NOW,
    TODAY,
    days,
    make_appointment,
    make_course,
    make_eye,
    make_milestone,
    make_operation,
    make_session,
    make_site,
    make_visit,
)
from tests.services.conftest import Clinic, last_change

LATER = NOW + timedelta(hours=1)


def full_list(clinic: Clinic, people: int = 3) -> Session:
    session = make_session(site=clinic.site, places=people)
    for _ in range(people):
        book_appointment(
            by=None,
            now=NOW,
            today=TODAY,
            patient=clinic.patient(),
            session=session,
            lane="review",
            original_due=days(5),
        )
    return session


def cancel(clinic: Clinic, session: Session, **fields: Any) -> Session:
    return cancel_session(
        by=clinic.coordinator, now=LATER, today=TODAY, session=session, reason="Surgeon away", **fields
    )


def test_everybody_moves_in_one_action_and_keeps_the_day_first_due(clinic: Clinic) -> None:
    session = full_list(clinic)
    other = make_session(site=clinic.site, day=days(9), places=4)
    cancel(clinic, session, move_to=other)
    places = Appointment.objects.order_by("local_time")
    assert {(place.session, place.state, place.original_due) for place in places} == {
        (other, "booked", days(5))
    }
    assert len({place.local_time for place in places}) == 3
    assert Change.objects.filter(verb="move_appointment").count() == 3
    assert last_change().after["moved_to"] == other.pk


def test_left_to_book_the_day_first_due_stays_in_view_and_comes_back_with_the_next_booking(
    clinic: Clinic,
) -> None:
    session = full_list(clinic, people=1)
    cancel(clinic, session)
    place = Appointment.objects.get()
    assert (place.state, place.cancelled_by, place.original_due) == ("cancelled", "clinic", days(5))
    (postponed,) = postponements(clinic.site).values()
    assert (postponed.first_due, postponed.times) == (days(5), 1)
    again = book_appointment(
        by=None,
        now=LATER,
        today=TODAY,
        patient=place.patient,
        session=make_session(site=clinic.site, day=days(40)),
        lane="review",
    )
    assert again.original_due == days(5)


def test_once_seen_nothing_is_put_off_any_more(clinic: Clinic) -> None:
    cancel(clinic, full_list(clinic, people=1))
    make_visit(patient=Appointment.objects.get().patient, day=days(8))
    assert postponements(clinic.site) == {}


def test_a_removal_put_off_twice_is_told_for_its_eye_until_the_next_operation(clinic: Clinic) -> None:
    eye = clinic.oil_eye(date=days(-70))
    for day in (3, 5):
        theatre = make_session(site=clinic.site, kind="theatre", day=days(day))
        book_appointment(
            by=None, now=NOW, today=TODAY, patient=eye.patient, session=theatre, lane="removal", eye=eye
        )
        cancel(clinic, theatre)
    removal = eye.courses.get().milestones.get(lane="removal")
    (whose,) = postponements(clinic.site)
    assert whose == (eye.patient_id, eye.pk)
    assert postponements(clinic.site)[whose].times == 2
    assert postponements(clinic.site)[whose].first_due == removal.target
    make_operation(eye=eye, date=days(6))
    assert postponements(clinic.site) == {}


def test_a_move_past_the_window_is_marked_booked_late(clinic: Clinic) -> None:
    eye = make_eye(patient=clinic.patient())
    make_milestone(course=make_course(operation=make_operation(eye=eye)), target=days(6), closes=days(8))
    session = make_session(site=clinic.site)
    book_appointment(by=None, now=NOW, today=TODAY, patient=eye.patient, session=session, lane="review")
    cancel(clinic, session, move_to=make_session(site=clinic.site, day=days(9)))
    assert Appointment.objects.get().booked_late


@pytest.mark.parametrize(
    ("other", "code"),
    [
        ({"places": 2}, "no_room_for_all"),
        ({"day": days(-1)}, "session_past"),
        ({"kind": "theatre"}, "wrong_kind_of_session"),
        ({"cancelled": True}, "session_cancelled"),
        ({"urgent_places": 4}, "kept_for_urgent"),
    ],
)
def test_if_one_cannot_move_nobody_does(clinic: Clinic, other: dict[str, Any], code: str) -> None:
    session = full_list(clinic)
    to = make_session(site=clinic.site, **{"day": days(9), "places": 6} | other)
    with pytest.raises(FollowUpError) as refused:
        cancel(clinic, session, move_to=to)
    assert refused.value.code == code
    session.refresh_from_db()
    assert not session.cancelled
    assert set(Appointment.objects.values_list("session", "sequence")) == {(session.pk, 0)}


def test_nobody_is_moved_to_another_clinic_or_to_the_list_itself(clinic: Clinic) -> None:
    session = full_list(clinic)
    for other, code in ((make_session(site=make_site()), "other_site"), (session, "same_list")):
        with pytest.raises(FollowUpError) as refused:
            cancel(clinic, session, move_to=other)
        assert refused.value.code == code


def test_somebody_who_holds_a_place_there_already_is_named(clinic: Clinic) -> None:
    session = full_list(clinic, people=1)
    other = make_session(site=clinic.site, day=days(9))
    patient = Appointment.objects.get().patient
    make_appointment(patient=patient, session=other)
    with pytest.raises(FollowUpError) as refused:
        cancel(clinic, session, move_to=other)
    assert refused.value.code == "already_in_session"
    assert str(patient) in refused.value.message


def test_whoever_has_arrived_is_not_moved(clinic: Clinic) -> None:
    session = make_session(site=clinic.site, day=TODAY)
    make_appointment(patient=clinic.patient(), session=session, state="arrived")
    with pytest.raises(FollowUpError) as refused:
        cancel(clinic, session, move_to=make_session(site=clinic.site))
    assert refused.value.code == "somebody_arrived"
