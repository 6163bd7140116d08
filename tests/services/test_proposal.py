"""Accepting a proposal: every line is booked, or none, and each that went meanwhile is named."""

from __future__ import annotations

import pytest

from followup.domain.errors import Refused
from followup.domain.words import Lane
from followup.models import Appointment, Change, Eye, Session
from followup.services.proposal import AcceptedLine, GoneMeanwhile, accept_proposal
from tests.at_once import at_once
from tests.builders import NOW, TODAY, days, make_appointment, make_exam, make_session, make_site
from tests.services.conftest import Clinic, make_clinic


def due_eye(clinic: Clinic) -> Eye:
    """Week 1 was missed: overdue."""
    return clinic.eye(date=days(-28))


def line(eye: Eye, session: Session) -> AcceptedLine:
    return AcceptedLine(eye.patient, Lane.REVIEW, session)


def accept(clinic: Clinic, *lines: AcceptedLine) -> list[Appointment]:
    return accept_proposal(by=clinic.coordinator, now=NOW, today=TODAY, lines=lines)


def test_every_line_is_booked_with_its_own_history(clinic: Clinic) -> None:
    clinic_list = make_session(site=clinic.site)
    theatre = make_session(site=clinic.site, kind="theatre")
    oil = clinic.oil_eye(date=days(-70))
    booked = accept(
        clinic,
        line(due_eye(clinic), clinic_list),
        line(due_eye(clinic), clinic_list),
        AcceptedLine(oil.patient, Lane.REMOVAL, theatre, oil),
    )
    assert [place.session for place in booked] == [clinic_list, clinic_list, theatre]
    assert booked[2].eye == oil
    assert Change.objects.filter(verb="book_appointment").count() == 3


def test_a_place_that_went_meanwhile_books_nobody_and_is_named(clinic: Clinic) -> None:
    full = make_session(site=clinic.site, places=1, title="Retina clinic")
    make_appointment(session=full, site=clinic.site)
    first, second = due_eye(clinic), due_eye(clinic)
    with pytest.raises(GoneMeanwhile) as refused:
        accept(clinic, line(first, make_session(site=clinic.site)), line(second, full))
    (told,) = refused.value.lines
    assert told.startswith(f"{second.patient}: Retina clinic on 9 Mar 2026 is full")
    assert Appointment.objects.count() == 1


def test_a_person_booked_or_seen_meanwhile_is_named(clinic: Clinic) -> None:
    booked, seen, site = due_eye(clinic), due_eye(clinic), clinic.site
    accept(clinic, line(booked, make_session(site=site)))
    make_exam(eye=seen, day=TODAY)
    # Seen today, the eye waits until month 3.
    with pytest.raises(GoneMeanwhile) as refused:
        accept(clinic, line(booked, make_session(site=site)), line(seen, make_session(site=site)))
    assert [told.partition(": ")[2] for told in refused.value.lines] == [
        "booked meanwhile, or nothing is to be booked any more."
    ] * 2


def test_nothing_accepted_is_refused(clinic: Clinic) -> None:
    with pytest.raises(Refused) as refused:
        accept(clinic)
    assert refused.value.code == "nothing_accepted"


def test_a_session_elsewhere_is_refused(clinic: Clinic) -> None:
    with pytest.raises(GoneMeanwhile):
        accept(clinic, line(due_eye(clinic), make_session(site=make_site())))
    assert not Appointment.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_the_same_proposal_accepted_at_once_is_booked_once() -> None:
    clinic = make_clinic()
    session = make_session(site=clinic.site)
    lines = [line(due_eye(clinic), session) for _ in range(3)]

    def accepted() -> int:
        try:
            return len(accept(clinic, *lines))
        except GoneMeanwhile as refused:
            return -len(refused.lines)

    assert sorted(at_once(accepted, times=4)) == [-3, -3, -3, 3]
    assert Appointment.objects.count() == 3
