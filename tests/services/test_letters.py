"""A printed letter is kept; one that asks somebody to ring is an attempt to reach them."""

from __future__ import annotations

import pytest

from followup.domain.errors import FollowUpError
from followup.domain.words import LetterKind
from followup.models import Change, ContactAttempt, PathwayVersion, Patient, PrintedLetter
from followup.queries.letters import LetterRow, appointment_letter
from followup.services.booking import cancel_appointment
from followup.services.letters import record_letters
from followup.services.pathway import replan_eyes
from tests.builders import (
    NOW,
    TODAY,
    make_appointment,
    make_eye,
    make_oil_operation,
    make_patient,
    make_staff,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def patient(pathways: list[PathwayVersion]) -> Patient:
    return make_patient(postal_address="1 Quay")


def record(*letters: LetterRow) -> list[PrintedLetter]:
    by = make_staff(site=letters[0].patient.site)
    return record_letters(by=by, now=NOW, today=TODAY, letters=letters)


@pytest.mark.parametrize(
    ("kind", "note"),
    [
        (LetterKind.NOT_REACHED, "Printed: We could not reach you."),
        (LetterKind.OIL, "Printed: Oil still in the eye."),
    ],
)
def test_a_letter_that_asks_to_ring_is_an_attempt(patient: Patient, kind: LetterKind, note: str) -> None:
    record(LetterRow(kind, patient))
    attempt = ContactAttempt.objects.get()
    assert (attempt.channel, attempt.result, attempt.note) == ("letter", "sent", note)
    # The letter takes its own step of the ladder; the telephone call of the first day is still to be made.
    assert attempt.next_step_on == TODAY
    assert [change.verb for change in Change.objects.order_by("id")] == ["print_letter", "record_attempt"]


@pytest.mark.parametrize(
    ("kind", "oil", "warns"),
    [
        (LetterKind.NOT_REACHED, False, True),
        (LetterKind.NOT_REACHED, True, False),
        (LetterKind.OIL, True, True),
    ],
)
def test_a_printed_letter_warns_if_it_says_what_is_at_stake(
    patient: Patient, kind: LetterKind, oil: bool, warns: bool
) -> None:
    if oil:
        operation = make_oil_operation(eye=make_eye(patient=patient))
        replan_eyes(eye_ids=[operation.eye_id])
    record(LetterRow(kind, patient))
    assert ContactAttempt.objects.get().is_warning is warns


def test_the_letter_of_an_appointment_is_no_attempt(patient: Patient) -> None:
    place = make_appointment(patient=patient)
    (printed,) = record(appointment_letter(place))
    assert (printed.appointment, printed.sequence, printed.printed_at) == (place, 0, NOW)
    assert not ContactAttempt.objects.exists()


def test_of_several_letters_none_is_kept_if_one_may_not_be_sent(patient: Patient) -> None:
    nowhere = make_patient(site=patient.site)
    with pytest.raises(FollowUpError, match="No postal address"):
        record(LetterRow(LetterKind.NOT_REACHED, patient), LetterRow(LetterKind.NOT_REACHED, nowhere))
    assert not PrintedLetter.objects.exists()


def test_an_appointment_cancelled_since_the_letter_was_made_is_refused(patient: Patient) -> None:
    place = make_appointment(patient=patient)
    letter = appointment_letter(place)
    cancel_appointment(by=None, now=NOW, appointment=place, cancelled_by="clinic", reason="Ill")
    with pytest.raises(FollowUpError, match="was moved, cancelled or is over"):
        record(letter)
