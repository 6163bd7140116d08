"""Two callers never hold the same person at once, and a claim runs out by itself."""

from __future__ import annotations

from datetime import timedelta
from threading import Lock

import pytest

from followup.domain.errors import Refused
from followup.models import CallClaim, Patient, Staff
from followup.services.calls import LASTS, claim_call, claim_first, release_call
from tests.at_once import at_once
from tests.builders import NOW, make_patient, make_site, make_staff

SOON = NOW + timedelta(minutes=1)


@pytest.mark.django_db
def test_somebody_else_s_call_is_refused_until_it_runs_out() -> None:
    patient = make_patient()
    anna, ben = make_staff(site=patient.site), make_staff(site=patient.site)
    claim_call(by=anna, now=NOW, patient=patient)
    claim_call(by=anna, now=SOON, patient=patient)
    with pytest.raises(Refused) as refused:
        claim_call(by=ben, now=SOON, patient=patient)
    assert refused.value.code == "claimed"
    assert claim_call(by=ben, now=SOON + LASTS, patient=patient).by == ben


@pytest.mark.django_db
def test_the_next_person_is_the_first_whom_nobody_holds_and_the_last_is_let_go() -> None:
    site = make_site()
    first, second = make_patient(site=site), make_patient(site=site)
    anna, ben = make_staff(site=site), make_staff(site=site)
    assert claim_first(by=anna, now=NOW, patients=[first, second]) == first
    assert claim_first(by=ben, now=NOW, patients=[first, second]) == second
    assert claim_first(by=make_staff(site=site), now=NOW, patients=[first, second]) is None
    assert claim_first(by=anna, now=SOON, patients=[second, first]) == first
    release_call(by=ben, patient=second)
    release_call(by=ben, patient=first)
    assert claim_first(by=anna, now=SOON, patients=[second]) == second
    assert list(CallClaim.objects.values_list("patient", flat=True)) == [second.pk]


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("state", ["never claimed", "run out"])
def test_two_callers_at_once_get_two_people(state: str) -> None:
    site = make_site()
    people = [make_patient(site=site, family_name=f"Person {n}") for n in range(3)]
    callers = [make_staff(site=site) for _ in range(2)]
    if state == "run out":
        gone = make_staff(site=site)
        for person in people:
            CallClaim.objects.create(patient=person, by=gone, until=NOW - timedelta(minutes=1))
    waiting, lock = list(callers), Lock()

    def call() -> Patient | None:
        with lock:
            by = waiting.pop()
        return claim_first(by=by, now=NOW, patients=people)

    taken = at_once(call, times=2)
    assert len({person.pk for person in taken if person}) == 2


@pytest.mark.django_db(transaction=True)
def test_of_eight_who_want_the_same_person_one_gets_through() -> None:
    patient = make_patient()
    waiting: list[Staff] = [make_staff(site=patient.site) for _ in range(8)]
    lock = Lock()

    def call() -> bool:
        with lock:
            by = waiting.pop()
        try:
            claim_call(by=by, now=NOW, patient=patient)
        except Refused:
            return False
        return True

    assert sorted(at_once(call)) == [*[False] * 7, True]
