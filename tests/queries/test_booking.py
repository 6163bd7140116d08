"""Which sessions are offered, in which order, and what each would meet."""

from __future__ import annotations

import pytest

from followup.domain.words import Lane
from followup.models import Eye, PathwayVersion, Patient, Site
from followup.queries import booking
from followup.services.pathway import replan_eyes
from tests.builders import (
    TODAY,
    days,
    make_appointment,
    make_exam,
    make_eye,
    make_oil_operation,
    make_operation,
    make_patient,
    make_session,
    make_site,
    make_unavailable,
)


@pytest.fixture
def site(pathways: list[PathwayVersion]) -> Site:
    return make_site()


@pytest.fixture
def patient(site: Site) -> Patient:
    """RIGHT: month 1 is open from 23 Feb to 16 Mar 2026. LEFT: month 1 opens on 9 Mar."""
    patient = make_patient(site=site)
    right, left = make_eye(patient=patient), make_eye(patient=patient, side="left")
    for eye, operated in ((right, -28), (left, -14)):
        make_operation(eye=eye, date=days(operated))
        make_exam(eye=eye, day=days(operated + 7))
    replan_eyes(eye_ids=[right.pk, left.pk])
    return patient


def offered(patient: Patient, lane: Lane = Lane.REVIEW, eye: Eye | None = None) -> list[booking.Offer]:
    rows = booking.standings_of(patient, TODAY)
    awaited = booking.awaited_of(rows, lane, eye)
    return booking.offers(patient=patient, day=TODAY, lane=lane, awaited=awaited)


def test_a_day_in_the_windows_of_both_eyes_comes_first(site: Site, patient: Patient) -> None:
    early, both = make_session(site=site, day=days(2)), make_session(site=site, day=days(9))
    late = make_session(site=site, day=days(60))
    offers = offered(patient)
    assert [offer.session for offer in offers] == [both, early, late]
    assert offers[0].reasons == (
        "RIGHT Month 1: in the window, 5 days before its end",
        "LEFT Month 1: in the window, 19 days before its end",
        "Serves both eyes",
    )
    assert offers[1].reasons[1] == "LEFT Month 1: 5 days before its window opens, so it would not count"


def test_only_open_sessions_of_the_right_kind_with_a_free_place_are_offered(
    site: Site, patient: Patient
) -> None:
    good = make_session(site=site, day=days(9))
    full = make_session(site=site, day=days(9), places=1)
    make_appointment(session=full, site=site)
    make_session(site=site, day=days(9), cancelled=True)
    make_session(site=site, day=days(-1))
    make_session(site=site, day=days(9), kind="theatre")
    make_session(site=make_site(), day=days(9))
    assert [offer.session for offer in offered(patient)] == [good]


def test_a_place_that_was_given_back_is_free_again(site: Site, patient: Patient) -> None:
    session = make_session(site=site, day=days(9), places=1)
    make_appointment(session=session, site=site, state="cancelled", cancelled_by="patient")
    assert [(offer.session, offer.free) for offer in offered(patient)] == [(session, 1)]


def test_a_theatre_day_serves_a_removal_whenever_it_is(site: Site) -> None:
    eye = make_oil_operation(site=site, date=days(-120)).eye
    replan_eyes(eye_ids=[eye.pk])
    make_session(site=site, day=days(3), kind="theatre")
    (offer,) = offered(eye.patient, Lane.REMOVAL, eye)
    assert offer.reasons == ("RIGHT Oil removal: 31 days after the window",)


def test_a_day_on_which_the_other_lane_is_booked_says_so(site: Site) -> None:
    eye = make_oil_operation(site=site, date=days(-70)).eye
    replan_eyes(eye_ids=[eye.pk])
    theatre = make_session(site=site, day=days(9), kind="theatre")
    make_appointment(session=theatre, eye=eye)
    make_session(site=site, day=days(9))
    (offer,) = offered(eye.patient)
    assert offer.reasons[-1] == "Same day as the removal of tamponade of the RIGHT eye"


def test_a_day_when_the_person_cannot_come_is_offered_last(site: Site, patient: Patient) -> None:
    away, later = make_session(site=site, day=days(9)), make_session(site=site, day=days(11))
    make_unavailable(patient=patient, first_day=days(8), last_day=days(9))
    offers = offered(patient)
    assert [offer.session for offer in offers] == [later, away]
    assert offers[-1].reasons[-1] == "Said that they cannot come on this day"


def test_places_kept_for_urgent_people_are_offered_to_them_alone(site: Site, patient: Patient) -> None:
    session = make_session(site=site, day=days(9), places=3, urgent_places=2)
    make_appointment(session=session, site=site)
    awaited = booking.awaited_of(booking.standings_of(patient, TODAY), Lane.REVIEW, None)
    asked = {"patient": patient, "day": TODAY, "lane": Lane.REVIEW, "awaited": awaited}
    assert booking.offers(**asked) == []
    assert [offer.free for offer in booking.offers(**asked, urgent=True)] == [2]


def test_where_no_place_counts_the_soonest_are_offered(site: Site) -> None:
    patient = make_patient(site=site)
    eye = make_operation(eye=make_eye(patient=patient), date=days(-190)).eye
    make_exam(eye=eye, day=days(-5))
    replan_eyes(eye_ids=[eye.pk])
    sessions = [make_session(site=site, day=days(2 * number)) for number in range(1, 41)]
    assert [offer.session for offer in offered(patient)] == sessions[: booking.MOST_OFFERS]
