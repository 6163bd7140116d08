"""Which appointments a calendar shows: the site's, or those of one kind of session or one surgeon's eyes."""

from __future__ import annotations

import pytest

from followup.models import Appointment, Site, Staff
from followup.queries.calendar import calendar_of
from tests.builders import (
    NOW,
    TODAY,
    days,
    make_appointment,
    make_calendar_address,
    make_eye,
    make_operation,
    make_patient,
    make_session,
    make_site,
    make_staff,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def site() -> Site:
    return make_site()


@pytest.fixture
def ada(site: Site) -> Staff:
    return make_staff(role="surgeon", site=site)


def shown(site: Site, **part: str) -> set[object]:
    return {row.uid for row in calendar_of(make_calendar_address(site=site, **part), NOW, TODAY)}


def seen_after(site: Site, **operation: object) -> Appointment:
    """A review of somebody with one operated eye."""
    eye = make_operation(site=site, **operation).eye
    return make_appointment(patient=eye.patient, day=days(7))


def test_it_shows_what_is_ahead_and_for_ninety_days_what_is_past(site: Site) -> None:
    kept = [make_appointment(site=site, day=days(day)) for day in (-90, 0, 400)]
    make_appointment(site=site, day=days(-91))
    make_appointment(site=make_site())
    assert [row.uid for row in calendar_of(make_calendar_address(site=site), NOW, TODAY)] == [
        each.uid for each in kept
    ]


def test_a_kind_of_session(site: Site) -> None:
    clinic = make_appointment(site=site, day=days(7))
    theatre = make_appointment(site=site, session=make_session(site=site, day=days(7), kind="theatre"))
    assert shown(site, session_kind="clinic") == {clinic.uid}
    assert shown(site, session_kind="theatre") == {theatre.uid}
    assert shown(site) == {clinic.uid, theatre.uid}


def test_a_surgeon_sees_people_with_an_eye_that_was_theirs_last(site: Site, ada: Staff) -> None:
    hers = seen_after(site, surgeon=ada)
    seen_after(site, surgeon=make_staff(role="surgeon", site=site))
    visiting = seen_after(site, surgeon_name="Dr Visiting")
    assert shown(site, surgeon=f"staff:{ada.pk}") == {hers.uid}
    assert shown(site, surgeon="name:Dr Visiting") == {visiting.uid}


@pytest.mark.parametrize(
    ("later", "is_hers"),
    [
        ({"date": days(-10), "surgeon_name": "Dr Other"}, False),
        ({"date": days(-90), "surgeon_name": "Dr Other"}, True),
        ({"date": days(-10), "surgeon_name": "Dr Other", "in_error": True}, True),
    ],
    ids=["operated on again by another", "operated on by another before", "that was entered in error"],
)
def test_the_last_operation_of_an_eye_says_whose_it_is(
    site: Site, ada: Staff, later: dict[str, object], is_hers: bool
) -> None:
    place = seen_after(site, surgeon=ada)
    make_operation(eye=place.patient.eyes.get(), **later)
    assert shown(site, surgeon=f"staff:{ada.pk}") == ({place.uid} if is_hers else set())


def test_a_review_sees_both_eyes_and_a_theatre_place_one(site: Site, ada: Staff) -> None:
    patient = make_patient(site=site)
    right, left = (make_eye(patient=patient, side=side) for side in ("right", "left"))
    make_operation(eye=right, surgeon=ada)
    make_operation(eye=left, surgeon_name="Dr Other")
    review = make_appointment(patient=patient, day=days(7))
    of_right, of_left = (
        make_appointment(eye=eye, session=make_session(site=site, day=days(day), kind="theatre"))
        for eye, day in ((right, 9), (left, 16))
    )
    assert shown(site, surgeon=f"staff:{ada.pk}") == {review.uid, of_right.uid}
    assert shown(site, surgeon="name:Dr Other") == {review.uid, of_left.uid}


@pytest.mark.parametrize("initials", [False, True])
def test_one_query_whatever_is_shown(
    site: Site, ada: Staff, initials: bool, django_assert_num_queries
) -> None:
    site.calendar_initials = initials
    for _ in range(3):
        seen_after(site, surgeon=ada)
    address = make_calendar_address(site=site, session_kind="clinic", surgeon=f"staff:{ada.pk}")
    with django_assert_num_queries(1):
        rows = calendar_of(address, NOW, TODAY)
    assert [bool(row.given_name) for row in rows] == 3 * [initials]
