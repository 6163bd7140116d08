"""Sessions and the places in them."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import pytest

from followup.domain.errors import FollowUpError
from followup.models import Appointment, Change, Session
from followup.services.booking import (
    book_appointment,
    cancel_appointment,
    mark_arrived,
    mark_attended,
    mark_not_attended,
    move_appointment,
    open_session,
)
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


def book(clinic: Clinic, **fields: Any) -> Appointment:
    dull: dict[str, Any] = {"lane": "review"}
    if "patient" not in fields:
        dull["patient"] = clinic.patient()
    if "session" not in fields:
        dull["session"] = make_session(site=clinic.site)
    return book_appointment(by=clinic.coordinator, now=NOW, today=TODAY, **dull | fields)


# Sessions


def opened(clinic: Clinic, **fields: Any) -> Session:
    dull = {
        "kind": "clinic",
        "title": "Retina",
        "day": days(3),
        "starts": time(9),
        "ends": time(12),
        "places": 9,
    }
    return open_session(by=clinic.coordinator, now=NOW, site=clinic.site, **dull | fields)


def test_a_session_is_opened(clinic: Clinic) -> None:
    session = opened(clinic)
    assert Session.objects.get() == session
    assert (last_change().verb, last_change().after["places"]) == ("open_session", 9)


@pytest.mark.parametrize(
    ("fields", "code", "field"),
    [
        ({"kind": "ward"}, "unknown_code", "kind"),
        ({"title": " "}, "missing", "title"),
        ({"day": days(-1)}, "session_past", "day"),
        ({"ends": time(9)}, "ends_before_it_starts", "ends"),
        ({"places": 0}, "places_range", "places"),
        ({"places": 181}, "places_range", "places"),
        ({"title": "Taken"}, "session_exists", "title"),
        # Cairo put its clocks forward at midnight on 24 April 2026 (last Friday of April).
        ({"day": date(2026, 4, 24), "starts": time(0, 30)}, "skipped_time", "starts"),
    ],
)
def test_a_session_is_refused(clinic: Clinic, fields: dict[str, Any], code: str, field: str) -> None:
    opened(clinic, title="Taken")
    with pytest.raises(FollowUpError) as refused:
        opened(clinic, **fields)
    assert (refused.value.code, refused.value.field) == (code, field)


# Booking


def test_places_are_given_in_the_order_of_their_times(clinic: Clinic) -> None:
    session = make_session(site=clinic.site, starts=time(9), ends=time(10), places=3)
    booked = [book(clinic, session=session) for _ in range(3)]
    assert [place.local_time for place in booked] == [time(9), time(9, 20), time(9, 40)]
    assert {place.minutes for place in booked} == {20}
    # Cairo is two hours ahead of UTC in winter.
    assert booked[0].starts_at == datetime(2026, 3, 9, 7, 0, tzinfo=UTC)


def test_a_place_given_back_is_the_next_one_given(clinic: Clinic) -> None:
    session = make_session(site=clinic.site, places=2)
    first, second = book(clinic, session=session), book(clinic, session=session)
    cancel_appointment(
        by=clinic.coordinator, now=LATER, appointment=first, cancelled_by="patient", reason="ill"
    )
    assert book(clinic, session=session).local_time == first.local_time != second.local_time


def test_a_wished_time_is_kept(clinic: Clinic) -> None:
    assert book(clinic, time=time(9, 5)).local_time == time(9, 5)


def test_what_a_booking_writes(clinic: Clinic) -> None:
    patient = clinic.patient()
    place = book(clinic, patient=patient, note=" wheelchair ")
    assert (place.state, place.sequence, place.changed_at, place.note) == ("booked", 0, NOW, "wheelchair")
    change = last_change()
    assert (change.verb, change.subject_id, change.patient) == ("book_appointment", place.pk, patient)
    assert change.after["day"] == "2026-03-09"


@pytest.mark.parametrize(
    ("session", "fields", "code", "field"),
    [
        ({"places": 1}, {}, "session_full", "session"),
        ({"places": 1}, {"time": time(9, 30)}, "session_full", "session"),
        ({"day": days(-1)}, {}, "session_past", "session"),
        ({"cancelled": True}, {}, "session_cancelled", "session"),
        ({"kind": "theatre"}, {}, "wrong_kind_of_session", "session"),
        ({}, {"lane": "checkup"}, "unknown_code", "lane"),
        ({}, {"lane": "removal"}, "eye_missing", "eye"),
        ({}, {"time": time(9)}, "time_taken", "time"),
        ({}, {"time": time(12)}, "outside_session", "time"),
        ({}, {"time": time(8, 59)}, "outside_session", "time"),
    ],
)
def test_a_booking_is_refused(
    clinic: Clinic, session: dict[str, Any], fields: dict[str, Any], code: str, field: str
) -> None:
    wanted = make_session(site=clinic.site, **session)
    make_appointment(session=wanted, patient=clinic.patient())
    with pytest.raises(FollowUpError) as refused:
        book(clinic, session=wanted, **fields)
    assert (refused.value.code, refused.value.field) == (code, field)
    assert Appointment.objects.count() == 1


def test_a_removal_is_not_booked_into_a_clinic(clinic: Clinic) -> None:
    eye = clinic.oil_eye()
    with pytest.raises(FollowUpError) as refused:
        book(clinic, patient=eye.patient, lane="removal", eye=eye)
    assert refused.value.code == "wrong_kind_of_session"


def test_a_removal_is_not_booked_for_somebody_elses_eye(clinic: Clinic) -> None:
    theatre = make_session(site=clinic.site, kind="theatre")
    with pytest.raises(FollowUpError) as refused:
        book(clinic, session=theatre, lane="removal", eye=make_eye())
    assert (refused.value.code, refused.value.field) == ("other_patient", "eye")


def test_a_review_names_no_eye(clinic: Clinic) -> None:
    eye = clinic.eye()
    with pytest.raises(FollowUpError) as refused:
        book(clinic, patient=eye.patient, eye=eye)
    assert (refused.value.code, refused.value.field) == ("eye_not_wanted", "eye")


def test_nobody_is_booked_at_another_clinic(clinic: Clinic) -> None:
    with pytest.raises(FollowUpError) as refused:
        book(clinic, session=make_session(site=make_site()))
    assert (refused.value.code, refused.value.field) == ("other_site", "session")


def test_nobody_holds_two_places_in_one_session(clinic: Clinic) -> None:
    place = book(clinic)
    with pytest.raises(FollowUpError) as refused:
        book(clinic, patient=place.patient, session=place.session)
    assert refused.value.code == "already_in_session"


def test_a_person_who_died_is_not_booked(clinic: Clinic) -> None:
    with pytest.raises(FollowUpError) as refused:
        book(clinic, patient=clinic.patient(died_on=days(-3)))
    assert refused.value.code == "patient_died"
    assert "27 Feb 2026" in refused.value.message


@pytest.mark.parametrize(
    ("closes_in", "late"), [(6, True), (7, False)], ids=["after its window", "on its last day"]
)
def test_a_place_after_the_window_is_marked_booked_late(clinic: Clinic, closes_in: int, late: bool) -> None:
    eye = make_eye(patient=clinic.patient())
    make_milestone(
        course=make_course(operation=make_operation(eye=eye)), target=days(1), closes=days(closes_in)
    )
    place = book(clinic, patient=eye.patient)
    assert (place.booked_late, place.original_due) == (late, days(1))


def test_a_removal_looks_at_the_removal_of_that_eye_alone(clinic: Clinic) -> None:
    eye = clinic.oil_eye(date=days(-70))
    theatre = make_session(site=clinic.site, kind="theatre")
    place = book(clinic, patient=eye.patient, session=theatre, lane="removal", eye=eye)
    removal = eye.courses.get().milestones.get(lane="removal")
    assert (place.original_due, place.booked_late) == (removal.target, False)


def test_the_target_of_the_milestone_is_what_it_was_first_due(clinic: Clinic) -> None:
    eye = clinic.eye(date=days(-1))
    place = book(clinic, patient=eye.patient, session=make_session(site=clinic.site, day=days(6)))
    assert place.original_due == days(6)


# Moving


def test_a_moved_place_keeps_its_identity_and_first_due_date(clinic: Clinic) -> None:
    place = book(clinic, original_due=days(5))
    later = make_session(site=clinic.site, day=days(9), starts=time(14), ends=time(16))
    moved = move_appointment(by=clinic.coordinator, now=LATER, today=TODAY, appointment=place, session=later)
    assert (moved.pk, moved.uid, moved.original_due) == (place.pk, place.uid, days(5))
    assert (moved.day, moved.local_time, moved.sequence, moved.changed_at) == (days(9), time(14), 1, LATER)
    change = last_change()
    assert (change.verb, change.before["day"], change.after["day"]) == (
        "move_appointment",
        "2026-03-09",
        "2026-03-11",
    )
    assert Appointment.objects.count() == 1


def test_a_move_frees_the_old_place(clinic: Clinic) -> None:
    full = make_session(site=clinic.site, places=1)
    place = book(clinic, session=full)
    move_appointment(
        by=clinic.coordinator,
        now=LATER,
        today=TODAY,
        appointment=place,
        session=make_session(site=clinic.site, day=days(8)),
    )
    assert book(clinic, session=full).local_time == time(9)


def test_a_move_into_a_full_session_is_refused(clinic: Clinic) -> None:
    full = book(clinic, session=make_session(site=clinic.site, places=1)).session
    place = book(clinic)
    with pytest.raises(FollowUpError) as refused:
        move_appointment(by=None, now=LATER, today=TODAY, appointment=place, session=full)
    assert refused.value.code == "session_full"
    place.refresh_from_db()
    assert (place.session_id == full.pk, place.sequence) == (False, 0)


def test_a_past_place_is_not_moved(clinic: Clinic) -> None:
    past = make_appointment(patient=clinic.patient(), day=days(-1))
    with pytest.raises(FollowUpError) as refused:
        move_appointment(
            by=None, now=NOW, today=TODAY, appointment=past, session=make_session(site=clinic.site)
        )
    assert refused.value.code == "appointment_past"


@pytest.mark.parametrize("state", ["arrived", "fulfilled", "noshow", "cancelled"])
def test_only_a_booked_place_is_moved(clinic: Clinic, state: str) -> None:
    place = make_appointment(patient=clinic.patient(), state=state, cancelled_by="clinic")
    with pytest.raises(FollowUpError) as refused:
        move_appointment(
            by=None, now=NOW, today=TODAY, appointment=place, session=make_session(site=clinic.site)
        )
    assert refused.value.code == "wrong_state"


# Cancelling


def test_a_cancelled_place_keeps_its_row_with_who_and_why(clinic: Clinic) -> None:
    place = book(clinic)
    cancelled = cancel_appointment(
        by=clinic.coordinator, now=LATER, appointment=place, cancelled_by="clinic", reason=" surgeon away "
    )
    assert (cancelled.state, cancelled.cancelled_by, cancelled.reason) == (
        "cancelled",
        "clinic",
        "surgeon away",
    )
    assert (cancelled.sequence, cancelled.changed_at) == (1, LATER)
    assert (last_change().verb, last_change().before["state"]) == ("cancel_appointment", "booked")


@pytest.mark.parametrize(
    ("state", "cancelled_by", "code", "field"),
    [
        ("cancelled", "patient", "wrong_state", ""),
        ("fulfilled", "patient", "wrong_state", ""),
        ("noshow", "patient", "wrong_state", ""),
        ("booked", "nobody", "unknown_code", "cancelled_by"),
        ("booked", "death", "record_the_death", "cancelled_by"),
    ],
)
def test_a_cancellation_is_refused(
    clinic: Clinic, state: str, cancelled_by: str, code: str, field: str
) -> None:
    place = make_appointment(patient=clinic.patient(), state=state, cancelled_by="clinic")
    with pytest.raises(FollowUpError) as refused:
        cancel_appointment(by=None, now=NOW, appointment=place, cancelled_by=cancelled_by, reason="")
    assert (refused.value.code, refused.value.field) == (code, field)


def test_a_cancelled_session_cancels_what_awaits_its_outcome(clinic: Clinic) -> None:
    session = make_session(site=clinic.site, day=TODAY)
    places = {
        state: make_appointment(patient=clinic.patient(), session=session, state=state)
        for state in ("booked", "arrived", "fulfilled", "noshow")
    }
    cancelled = cancel_session(by=clinic.coordinator, now=LATER, session=session, reason="flood")
    assert cancelled.cancelled
    states = {state: Appointment.objects.get(pk=place.pk).state for state, place in places.items()}
    assert states == {
        "booked": "cancelled",
        "arrived": "cancelled",
        "fulfilled": "fulfilled",
        "noshow": "noshow",
    }
    assert Change.objects.filter(verb="cancel_appointment").count() == 2
    assert last_change().after["appointments"] == [places["booked"].pk, places["arrived"].pk]
    with pytest.raises(FollowUpError) as refused:
        cancel_session(by=clinic.coordinator, now=LATER, session=session, reason="flood")
    assert refused.value.code == "cancelled"


# Outcomes


@pytest.mark.parametrize(
    ("before", "mark", "state", "verb"),
    [
        ("booked", mark_arrived, "arrived", "mark_arrived"),
        ("noshow", mark_arrived, "arrived", "mark_arrived"),
        ("booked", mark_attended, "fulfilled", "mark_attended"),
        ("arrived", mark_attended, "fulfilled", "mark_attended"),
        ("noshow", mark_attended, "fulfilled", "mark_attended"),
        ("booked", mark_not_attended, "noshow", "mark_not_attended"),
        ("arrived", mark_not_attended, "noshow", "mark_not_attended"),
        ("fulfilled", mark_not_attended, "noshow", "mark_not_attended"),
    ],
)
def test_what_became_of_a_place(clinic: Clinic, before: str, mark: Any, state: str, verb: str) -> None:
    place = make_appointment(patient=clinic.patient(), day=TODAY, state=before)
    marked = mark(by=clinic.coordinator, now=LATER, today=TODAY, appointment=place)
    assert (marked.state, marked.sequence, marked.changed_at) == (state, 1, LATER)
    assert (last_change().verb, last_change().before["state"], last_change().after["state"]) == (
        verb,
        before,
        state,
    )


@pytest.mark.parametrize("mark", [mark_arrived, mark_attended, mark_not_attended])
def test_a_place_still_to_come_has_no_outcome(clinic: Clinic, mark: Any) -> None:
    with pytest.raises(FollowUpError) as refused:
        mark(by=None, now=NOW, today=TODAY, appointment=book(clinic))
    assert refused.value.code == "still_to_come"


@pytest.mark.parametrize("mark", [mark_arrived, mark_attended, mark_not_attended])
def test_a_cancelled_place_has_no_outcome(clinic: Clinic, mark: Any) -> None:
    place = make_appointment(patient=clinic.patient(), day=TODAY, state="cancelled", cancelled_by="clinic")
    with pytest.raises(FollowUpError) as refused:
        mark(by=None, now=NOW, today=TODAY, appointment=place)
    assert refused.value.code == "wrong_state"


def test_why_somebody_did_not_come_is_a_code(clinic: Clinic) -> None:
    place = make_appointment(patient=clinic.patient(), day=TODAY)
    with pytest.raises(FollowUpError) as refused:
        mark_not_attended(by=None, now=NOW, today=TODAY, appointment=place, reason="rain")
    assert (refused.value.code, refused.value.field) == ("unknown_code", "reason")
    assert mark_not_attended(by=None, now=NOW, today=TODAY, appointment=place, reason="cost").reason == "cost"


def test_a_place_with_a_visit_was_attended(clinic: Clinic) -> None:
    place = make_appointment(patient=clinic.patient(), day=TODAY, state="fulfilled")
    make_visit(patient=place.patient, day=TODAY, appointment=place)
    with pytest.raises(FollowUpError) as refused:
        mark_not_attended(by=None, now=NOW, today=TODAY, appointment=place)
    assert refused.value.code == "visit_recorded"
