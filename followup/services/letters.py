"""Letters that were printed: kept; one that asks somebody to ring counts as an attempt to reach them.

It says what is at stake and names the signs of danger, so it is the letter of warning without which no only
eye, and none with oil in it, is given up.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

from django.db import transaction

from followup.domain.errors import Refused
from followup.domain.words import AppointmentState, Channel, ContactResult, LetterKind, Tamponade
from followup.models import Fill, Patient, PrintedLetter, Staff
from followup.queries.letters import LetterRow, why_not
from followup.services.history import record_change, snapshot
from followup.services.recall import record_attempt
from followup.services.rows import locked, save_valid

_SHOWN = ("kind", "appointment", "sequence")


@transaction.atomic
def record_letters(
    *, by: Staff, now: datetime, today: date, letters: Sequence[LetterRow]
) -> list[PrintedLetter]:
    """Keeps that these letters were printed, all or none.

    Raises Refused for a person who died, withdrew consent to letters or has no postal address, and for an
    appointment that is not booked any more, or was moved since its letter was made.
    """
    return [_record(by, now, today, letter) for letter in letters]


def _record(by: Staff, now: datetime, today: date, letter: LetterRow) -> PrintedLetter:
    patient = locked(letter.patient)
    if reason := why_not(patient):
        raise Refused(reason, code="no_letter")
    _check_appointment(letter)
    printed = PrintedLetter(
        patient=patient,
        kind=letter.kind.value,
        appointment=letter.appointment,
        sequence=letter.appointment.sequence if letter.appointment else None,
        printed_by=by,
        printed_at=now,
    )
    save_valid(printed)
    record_change(
        by=by,
        at=now,
        site=patient.site,
        verb="print_letter",
        subject=printed,
        patient=patient,
        after=snapshot(printed, _SHOWN),
    )
    if letter.kind is not LetterKind.APPOINTMENT:
        _record_attempt(by, now, today, letter)
    return printed


def _check_appointment(letter: LetterRow) -> None:
    if letter.appointment is None:
        return
    stands = locked(letter.appointment)
    if stands.sequence != letter.appointment.sequence or stands.state != AppointmentState.BOOKED.value:
        raise Refused(
            f"The appointment of {letter.patient} on {letter.appointment.day:%-d %b %Y} was moved, cancelled "
            "or is over. Look at the list of letters again.",
            code="appointment_changed",
        )


def _record_attempt(by: Staff, now: datetime, today: date, letter: LetterRow) -> None:
    record_attempt(
        by=by,
        now=now,
        today=today,
        patient=letter.patient,
        channel=Channel.LETTER.value,
        result=ContactResult.SENT.value,
        is_warning=letter.kind is LetterKind.OIL or not _holds_oil(letter.patient),
        note=f"Printed: {letter.kind.label}.",
    )


def _holds_oil(patient: Patient) -> bool:
    """Then only the letter that speaks of the oil says what is at stake; else the letter to ring does."""
    open_fills = Fill.objects.filter(eye__patient=patient, ended_on=None)
    return any(Tamponade(code).kind.must_come_out for code in open_fills.values_list("tamponade", flat=True))
