"""Everybody sees the records of the sites where they work, and no others."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from followup.models import CalendarAddress, ImportBatch, Patient, Site
from followup.queries import access
from tests.builders import (
    NOW,
    make_appointment,
    make_calendar_address,
    make_decision,
    make_eye,
    make_operation,
    make_patient,
    make_session,
    make_site,
    make_staff,
    make_visit,
)

pytestmark = pytest.mark.django_db


def make_import(*, site: Site) -> ImportBatch:
    return ImportBatch.objects.create(site=site, file_name="log.csv", digest="0", content=b"", made_at=NOW)


LOOKS: list[tuple[Callable[..., Any], Callable[..., Any], Callable[[Site], Any]]] = [
    (access.sites_of, access.site_for, lambda site: site),
    (access.patients_of, access.patient_for, lambda site: make_patient(site=site)),
    (access.eyes_of, access.eye_for, lambda site: make_eye(site=site)),
    (access.operations_of, access.operation_for, lambda site: make_operation(site=site)),
    (
        access.visits_of,
        access.visit_for,
        lambda site: make_visit(patient=make_patient(site=site)),
    ),
    (access.sessions_of, access.session_for, lambda site: make_session(site=site)),
    (access.appointments_of, access.appointment_for, lambda site: make_appointment(site=site)),
    (access.decisions_of, access.decision_for, lambda site: make_decision(eye=make_eye(site=site))),
    (access.colleagues_of, access.colleague_for, lambda site: make_staff(site=site)),
    (access.imports_of, access.import_for, lambda site: make_import(site=site)),
    (
        access.calendar_addresses_of,
        access.calendar_address_for,
        lambda site: make_calendar_address(site=site),
    ),
]


@pytest.mark.parametrize(("all_of", "one_for", "make"), LOOKS, ids=[look[1].__name__ for look in LOOKS])
def test_only_the_records_of_ones_own_sites(
    all_of: Callable[..., Any], one_for: Callable[..., Any], make: Callable[[Site], Any]
) -> None:
    here, elsewhere = make_site(), make_site()
    ours, theirs = make(here), make(elsewhere)
    staff = make_staff(site=here)
    assert ours in all_of(staff)
    assert theirs not in all_of(staff)
    assert one_for(staff, ours.pk) == ours
    with pytest.raises(type(theirs).DoesNotExist):
        one_for(staff, theirs.pk)
    with pytest.raises(type(theirs).DoesNotExist):
        one_for(staff, 10**9)


@pytest.mark.parametrize(("all_of", "one_for", "make"), LOOKS, ids=[look[1].__name__ for look in LOOKS])
def test_who_has_left_sees_nothing(
    all_of: Callable[..., Any], one_for: Callable[..., Any], make: Callable[[Site], Any]
) -> None:
    site = make_site()
    make(site)
    assert not all_of(make_staff(site=site, is_active=False)).exists()


def test_who_works_at_two_sites_sees_each_record_once() -> None:
    first, second = make_site(), make_site()
    patients = [make_patient(site=first), make_patient(site=second)]
    staff = make_staff(sites=[first, second])
    assert list(access.patients_of(staff).order_by("id")) == patients
    assert list(access.colleagues_of(staff)) == [staff]


def test_being_a_superuser_opens_no_other_site() -> None:
    make_patient()
    chief = make_staff(role="administrator", site=make_site(), is_superuser=True)
    assert list(access.patients_of(chief)) == []
    with pytest.raises(Patient.DoesNotExist):
        access.patient_for(chief, Patient.objects.get().pk)


def test_a_token_opens_its_address_until_it_is_revoked() -> None:
    address = make_calendar_address(token_hash=access.hash_of_token("secret"))
    assert access.calendar_address_of_token("secret") == address
    for wrong in ("", "Secret", address.token_hash):
        with pytest.raises(CalendarAddress.DoesNotExist):
            access.calendar_address_of_token(wrong)
    CalendarAddress.objects.update(revoked_at=NOW)
    with pytest.raises(CalendarAddress.DoesNotExist):
        access.calendar_address_of_token("secret")
