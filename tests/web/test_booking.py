"""Booking from what is offered, moving, cancelling, and saying what happened."""

from __future__ import annotations

from collections.abc import Callable
from datetime import time

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from followup.models import Appointment, Eye, Session, Site, Staff
from followup.services.pathway import replan_eye
from tests.builders import TODAY, days, make_appointment, make_exam, make_patient, make_session, make_staff
from tests.web.stories import gas_eye, oil_eye, send, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_nine")]


@pytest.fixture
def client(harbour: Site, enter: Callable[[Staff], Client]) -> Client:
    return enter(make_staff(site=harbour))


@pytest.fixture
def eye(harbour: Site) -> Eye:
    """Seen in week 1. Month 1 is due on 2 Mar 2026: open since 23 Feb, until 16 Mar."""
    eye = gas_eye(harbour, days(-28))
    make_exam(eye=eye, day=days(-21))
    replan_eye(eye_id=eye.pk)
    return eye


def test_sessions_are_offered_with_what_they_would_meet(harbour: Site, client: Client, eye: Eye) -> None:
    make_session(site=harbour, day=days(7), title="Retina clinic")
    make_session(site=harbour, day=days(20), title="Late clinic")
    make_session(site=harbour, day=days(7), kind="theatre", title="Theatre")
    page = text_of(client.get(f"/eyes/{eye.pk}/book/"))
    assert "RIGHT Month 1: in the window, 7 days before its end" in page
    assert "RIGHT Month 1: 6 days after the window" in page
    assert page.index("Retina clinic") < page.index("Late clinic")
    assert "Theatre" not in page


def test_the_place_is_booked_at_the_next_free_time(harbour: Site, client: Client, eye: Eye) -> None:
    session = make_session(site=harbour, day=days(7), title="Retina clinic")
    page = text_of(send(client, f"/eyes/{eye.pk}/book/", session=session.pk))
    assert "Retina clinic, 9 Mar 2026 at 09:00." in page
    assert Appointment.objects.get().lane == "review"
    assert "Month 1: booked for 9 Mar 2026." in text_of(client.get(f"/eyes/{eye.pk}/"))


def test_a_removal_is_booked_in_theatre_for_its_eye(harbour: Site, client: Client) -> None:
    eye = oil_eye(harbour, days(-90))
    session = make_session(site=harbour, day=days(7), kind="theatre")
    send(client, f"/eyes/{eye.pk}/book/?lane=removal", session=session.pk)
    assert (Appointment.objects.get().lane, Appointment.objects.get().eye) == ("removal", eye)


def test_a_session_that_filled_meanwhile_is_refused_with_the_reason(
    harbour: Site, client: Client, eye: Eye
) -> None:
    session = make_session(site=harbour, day=days(7), places=1)
    make_appointment(session=session, site=harbour)
    other = make_session(site=harbour, day=days(8))
    page = text_of(send(client, f"/eyes/{eye.pk}/book/", session=session.pk, note="By bus"))
    assert "That session is no longer on offer: full, cancelled or over. Choose another." in page
    assert 'value="By bus"' in page
    assert f'value="{other.pk}"' in page
    assert not Appointment.objects.filter(patient=eye.patient).exists()


def test_a_time_outside_the_session_is_refused_beside_the_time(
    harbour: Site, client: Client, eye: Eye
) -> None:
    session = make_session(site=harbour, day=days(7))
    page = text_of(send(client, f"/eyes/{eye.pk}/book/", session=session.pk, time="18:00"))
    assert "18:00 is outside it" in page[page.index('id="id_time_error"') :][:200]


def test_without_a_session_the_page_says_to_open_one(client: Client, eye: Eye) -> None:
    page = text_of(client.get(f"/eyes/{eye.pk}/book/"))
    assert '<a href="/sessions/new/">Open a session</a>, then come back.' in page


def test_a_moved_place_keeps_the_day_it_was_first_due(harbour: Site, client: Client, eye: Eye) -> None:
    first, second = make_session(site=harbour, day=days(7)), make_session(site=harbour, day=days(9))
    send(client, f"/eyes/{eye.pk}/book/", session=first.pk)
    place = Appointment.objects.get()
    due = place.original_due
    send(client, f"/appointments/{place.pk}/move/", session=second.pk)
    place.refresh_from_db()
    assert (place.day, place.original_due) == (days(9), due)


def test_a_cancelled_place_says_who_and_why_and_the_eye_is_to_be_booked_again(
    harbour: Site, client: Client, eye: Eye
) -> None:
    place = make_appointment(patient=eye.patient, day=days(7))
    address = f"/appointments/{place.pk}/cancel/"
    assert "This field is required." in text_of(send(client, address, cancelled_by="patient", reason=""))
    page = text_of(send(client, address, cancelled_by="patient", reason="At a wedding"))
    assert "Cancelled by the patient" in page
    assert "Month 1: book by 16 Mar 2026." in page


@pytest.mark.parametrize("method", ["get", "head"])
@pytest.mark.parametrize("verb", ["cancel", "move", "arrived", "attended", "not-attended"])
def test_opening_an_address_changes_no_place(
    harbour: Site, client: Client, eye: Eye, method: str, verb: str
) -> None:
    place = make_appointment(patient=eye.patient, day=TODAY)
    getattr(client, method)(f"/appointments/{place.pk}/{verb}/")
    place.refresh_from_db()
    assert (place.state, place.sequence) == ("booked", 0)


def test_somebody_who_did_not_come_leads_to_the_contact_form(harbour: Site, client: Client, eye: Eye) -> None:
    place = make_appointment(patient=eye.patient, day=TODAY)
    page = text_of(send(client, f"/appointments/{place.pk}/not-attended/", reason="cost"))
    assert "did not attend. Contact them, and book another place." in page
    assert f"<h1>Contact attempt: {eye.patient.name}</h1>" in page


def test_on_the_day_sheet_a_mark_comes_back_to_its_line(harbour: Site, client: Client, eye: Eye) -> None:
    place = make_appointment(patient=eye.patient, day=TODAY)
    line = f"/sessions/{place.session_id}/#place-{place.pk}"
    assert client.post(f"/appointments/{place.pk}/arrived/").headers["Location"] == line
    answer = client.post(f"/appointments/{place.pk}/not-attended/", {"reason": "cost", "sheet": "on"})
    assert answer.headers["Location"] == line
    place.refresh_from_db()
    assert (place.state, place.reason) == ("noshow", "cost")


def test_a_past_session_stays_on_the_home_page_until_every_line_has_its_outcome(
    harbour: Site, client: Client, eye: Eye
) -> None:
    session = make_session(site=harbour, day=days(-3), title="Retina clinic")
    places = [make_appointment(patient=eye.patient, session=session), make_appointment(session=session)]
    shown = "Retina clinic, 27 Feb 2026</a>: "
    Appointment.objects.filter(pk=places[1].pk).update(patient=make_patient(site=harbour))
    assert f"{shown}2 people" in text_of(client.get("/"))
    send(client, f"/appointments/{places[0].pk}/attended/")
    assert f"{shown}1 person" in text_of(client.get("/"))
    send(client, f"/appointments/{places[1].pk}/not-attended/", reason="ill", sheet="on")
    assert shown not in text_of(client.get("/"))


def test_the_day_sheet_says_side_operation_oil_and_only_eye(harbour: Site, client: Client) -> None:
    eye = oil_eye(harbour, days(-63), only_eye=True)
    place = make_appointment(patient=eye.patient, day=TODAY)
    page = text_of(client.get(f"/sessions/{place.session_id}/"))
    assert '<span class="side">RIGHT</span> <strong class="pressing">ONLY EYE</strong>' in page
    assert "<strong>month 2 (day 63)</strong> after 29 Dec 2025: Pars plana vitrectomy" in page
    assert "In the eye: <strong>Silicone oil 1000 cSt, 63 days</strong>" in page
    assert "Pressure. Oil: emulsified, or in front of the iris?" in page


def test_a_refused_outcome_is_told_on_the_session_s_day(harbour: Site, client: Client, eye: Eye) -> None:
    place = make_appointment(patient=eye.patient, day=days(7))
    page = text_of(send(client, f"/appointments/{place.pk}/attended/"))
    assert "still to come. Move or cancel it instead." in page


def test_a_session_s_day_costs_the_same_for_one_place_and_for_five(harbour: Site, client: Client) -> None:
    session = make_session(site=harbour, day=TODAY)
    counts = []
    for number in (1, 4):
        for _ in range(number):
            make_appointment(patient=gas_eye(harbour, days(-28)).patient, session=session)
        with CaptureQueriesContext(connection) as asked:
            client.get(f"/sessions/{session.pk}/")
        counts.append(len(asked))
    assert counts[0] == counts[1]


WEEKLY = {
    "kind": "clinic",
    "title": "Retina clinic",
    "day": "2026-03-23",
    "starts": "09:00",
    "ends": "12:00",
    "places": 6,
    "urgent_places": 0,
    "weeks": 3,
}


def test_the_same_session_is_opened_for_several_weeks_at_one_local_time(client: Client) -> None:
    assert "3 sessions are open for booking." in text_of(send(client, "/sessions/new/", **WEEKLY))
    opened = Session.objects.order_by("day")
    assert [str(session.day) for session in opened] == ["2026-03-23", "2026-03-30", "2026-04-06"]
    assert {session.starts for session in opened} == {time(9)}


def test_if_one_of_the_weeks_cannot_be_opened_none_is(harbour: Site, client: Client) -> None:
    make_session(site=harbour, day=days(28), title="Retina clinic")
    page = text_of(send(client, "/sessions/new/", **WEEKLY))
    assert '"Retina clinic" on 30 Mar 2026 at 09:00 is there already.' in page
    assert Session.objects.count() == 1


def test_a_cancelled_session_gives_its_people_back_to_the_recall_list(
    harbour: Site, client: Client, eye: Eye
) -> None:
    place = make_appointment(patient=eye.patient, day=days(7))
    page = text_of(send(client, f"/sessions/{place.session_id}/cancel/", reason="No surgeon"))
    assert "This session is cancelled." in page
    assert eye.patient.name in text_of(client.get("/recall/?standing=to_book"))


def test_on_the_recall_list_the_day_first_due_stays_in_view(harbour: Site, client: Client, eye: Eye) -> None:
    session = make_session(site=harbour, day=days(7))
    send(client, f"/eyes/{eye.pk}/book/", session=session.pk)
    send(client, f"/sessions/{session.pk}/cancel/", reason="No surgeon")
    told = "The clinic cancelled 1 place. First due 2 Mar 2026."
    assert told in text_of(client.get("/recall/"))
    send(client, f"/eyes/{eye.pk}/book/", session=make_session(site=harbour, day=days(9)).pk)
    assert told not in text_of(client.get("/recall/"))


PATTERN = {
    "kind": "clinic",
    "title": "Retina clinic",
    "weekday": "0",
    "every_weeks": 1,
    "starts": "09:00",
    "ends": "12:00",
    "places": 6,
    "urgent_places": 1,
    "first_day": "2026-03-02",
}


def test_a_rota_opens_its_sessions_and_tells_what_it_did(harbour: Site, client: Client) -> None:
    Site.objects.filter(pk=harbour.pk).update(country="DE", sessions_weeks_ahead=6)
    page = text_of(send(client, "/sessions/rota/new/", **PATTERN))
    assert "Sessions: 6 opened." in page
    assert "Mon 6 Apr 2026</span>: Easter Monday" in page
    pattern = harbour.session_patterns.get()
    typed = {"day": "2026-03-09", "left_out": "yes", "reason": "Congress"}
    page = text_of(send(client, f"/sessions/rota/{pattern.pk}/day/", **typed))
    assert "Sessions: 1 withdrawn." in page
    assert "Mon 9 Mar 2026, Retina clinic: left out. Congress" in page
    page = text_of(send(client, f"/sessions/rota/exceptions/{pattern.exceptions.get().pk}/remove/"))
    assert "Sessions: 1 reopened." in page
    typed = {"first_day": "2026-03-16", "last_day": "2026-03-23", "reason": "Building work"}
    assert "Sessions: 2 withdrawn." in text_of(send(client, "/sessions/closures/new/", **typed))
    page = text_of(send(client, f"/sessions/closures/{harbour.closures.get().pk}/remove/"))
    assert "Sessions: 2 reopened." in page
    page = text_of(send(client, f"/sessions/rota/{pattern.pk}/end/", last_day="2026-03-10"))
    assert "Sessions: 4 withdrawn." in page
    assert "The sessions are as the rota says." in text_of(send(client, "/sessions/rota/open/"))


def test_a_session_that_needs_a_person_is_told(harbour: Site, client: Client, eye: Eye) -> None:
    send(client, "/sessions/rota/new/", **PATTERN)
    make_appointment(patient=eye.patient, session=Session.objects.get(day=days(7)))
    typed = {"first_day": "2026-03-09", "last_day": "2026-03-09", "reason": "Building work"}
    page = text_of(send(client, "/sessions/closures/new/", **typed))
    said = "Retina clinic, 9 Mar 2026: Building work 1 person is booked: cancel it, and move them."
    assert said in page


def test_everybody_in_a_cancelled_session_is_listed_and_moved_to_one_with_room(
    harbour: Site, client: Client, eye: Eye
) -> None:
    place = make_appointment(patient=eye.patient, day=days(7), original_due=days(0))
    room, full = (make_session(site=harbour, day=days(9), places=places) for places in (2, 1))
    make_appointment(session=full, site=harbour)
    address = f"/sessions/{place.session_id}/cancel/"
    page = text_of(client.get(address))
    assert "1 person to move, or to book again" in page
    assert f'<td class="nowrap">{days(0):%-d %b %Y}</td>' in page
    assert f'value="{room.pk}"' in page
    assert f'value="{full.pk}"' not in page
    page = text_of(send(client, address, reason="No surgeon", move_to=room.pk))
    assert "1 person is moved here." in page
    place.refresh_from_db()
    assert (place.session, place.state, place.original_due) == (room, "booked", days(0))


def test_an_urgent_person_is_offered_the_place_that_is_kept(harbour: Site, client: Client, eye: Eye) -> None:
    session = make_session(site=harbour, day=days(7), places=1, urgent_places=1)
    address = f"/eyes/{eye.pk}/book/"
    assert "No clinic with a free place is open" in text_of(client.get(address))
    assert f'value="{session.pk}"' in text_of(client.get(f"{address}?urgent=on"))
    send(client, address, session=session.pk, urgent="on")
    assert Appointment.objects.get().urgent


def test_days_when_somebody_cannot_come_are_told_where_they_are_booked(
    harbour: Site, client: Client, eye: Eye
) -> None:
    make_session(site=harbour, day=days(7))
    address = f"/patients/{eye.patient_id}/unavailable/"
    typed = {"first_day": "2026-03-09", "last_day": "2026-03-13", "reason": "Harvest"}
    assert "9 Mar 2026 to Fri 13 Mar 2026: Harvest" in text_of(send(client, address, **typed))
    page = text_of(client.get(f"/eyes/{eye.pk}/book/"))
    assert "Cannot come: 9 Mar 2026 to 13 Mar 2026 (Harvest)." in page
    assert "Said that they cannot come on this day" in page
    send(client, f"/unavailable/{eye.patient.unavailable.get().pk}/remove/")
    assert not eye.patient.unavailable.exists()
    page = text_of(send(client, address, first_day="2026-03-13", last_day="2026-03-09"))
    assert "The last day, 9 Mar 2026, comes before the first." in page


def test_a_proposal_is_changed_refused_and_accepted_line_by_line(
    harbour: Site, client: Client, eye: Eye
) -> None:
    other = gas_eye(harbour, days(-28))
    sessions = [make_session(site=harbour, day=days(day), title=f"Day {day}") for day in (1, 8)]
    page = text_of(client.get("/proposal/"))
    assert "2 places are to be booked; 2 can be within half a year, 1 of them past the window." in page
    lines = {f"place-{each.patient_id}-review-0": "" for each in (eye, other)}
    page = text_of(send(client, "/proposal/", **lines))
    assert "Nothing is accepted: choose a place for at least one person." in page
    lines[f"place-{eye.patient_id}-review-0"] = sessions[1].pk
    assert "1 place is booked." in text_of(send(client, "/proposal/", **lines))
    place = Appointment.objects.get()
    assert (place.patient, place.session) == (eye.patient, sessions[1])
    page = text_of(send(client, "/proposal/", **lines))
    assert "Nothing was booked." in page
    assert "booked meanwhile, or nothing is to be booked any more." in page


def test_a_long_proposal_comes_in_pages_each_booked_by_itself(harbour: Site, client: Client) -> None:
    for _ in range(52):
        gas_eye(harbour, days(-70))
    make_session(site=harbour, day=days(3), places=60)
    first, second = text_of(client.get("/proposal/")), text_of(client.get("/proposal/?page=2"))
    assert "Page 1 of 2, rows 1 to 50 of 5" in first
    assert "Each page is booked by itself." in first
    assert "Page 2 of 2, rows 51" in second


def test_a_proposal_takes_no_record_of_another_site(harbour: Site, client: Client, eye: Eye) -> None:
    elsewhere = make_session(day=days(7))
    lines = {f"place-{eye.patient_id}-review-0": elsewhere.pk, "place-x-y-z": 1, "place-": 1}
    assert "Nothing is accepted" in text_of(send(client, "/proposal/", **lines))
    assert not Appointment.objects.exists()


def test_the_load_ahead_says_whether_the_service_keeps_up(harbour: Site, client: Client, eye: Eye) -> None:
    page = text_of(client.get("/load/"))
    assert "Falls behind in the week of 2 Mar 2026 (2026-W10)." in page
    for week in range(26):
        make_session(site=harbour, day=days(7 * week), places=20)
    page = text_of(client.get("/load/"))
    assert page.count("Keeps up for half a year.") == 2
    assert "With one more session a week (20 places): keeps up." in page
