"""Booking what was proposed and accepted: all of it, or nothing and which lines went meanwhile."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from followup.domain.errors import FollowUpError, Refused
from followup.domain.words import Lane
from followup.models import Appointment, Eye, Patient, Session, Staff
from followup.queries.proposal.wants import open_needs
from followup.services.booking import book_appointment


@dataclass(frozen=True, slots=True)
class AcceptedLine:
    """One place to book. eye: the one to be operated on; None for a review."""

    patient: Patient
    lane: Lane
    session: Session
    eye: Eye | None = None


class GoneMeanwhile(Refused):
    """Some lines can no longer be booked; `lines` says which and why, in words."""

    def __init__(self, lines: Sequence[str]) -> None:
        super().__init__(f"Nothing was booked. {' '.join(lines)} Look at the new proposal.", code="gone")
        self.lines = tuple(lines)


@transaction.atomic
def accept_proposal(
    *, by: Staff | None, now: datetime, today: date, lines: Sequence[AcceptedLine]
) -> list[Appointment]:
    """Books every line in one transaction, or none.

    Raises Refused without a line, and GoneMeanwhile naming each line whose place went or whose person was
    booked since the proposal was made.
    """
    if not lines:
        raise Refused("Nothing is accepted: choose a place for at least one person.", code="nothing_accepted")
    _hold(lines)
    wanted = open_needs(lines[0].session.site, today, {line.patient.pk for line in lines})
    booked: list[Appointment] = []
    gone: list[str] = []
    for line in lines:
        try:
            booked.append(_book(by, now, today, line, wanted))
        except FollowUpError as fault:
            gone.append(f"{line.patient}: {fault.message}")
    if gone:
        raise GoneMeanwhile(gone)
    return booked


def _hold(lines: Sequence[AcceptedLine]) -> None:
    """Everybody, then every session, in the order of their numbers, so that two never wait for each other."""
    people = Patient.objects.filter(pk__in={line.patient.pk for line in lines})
    list(people.order_by("id").select_for_update(no_key=True).values_list("id"))
    sessions = Session.objects.filter(pk__in={line.session.pk for line in lines})
    list(sessions.order_by("id").select_for_update(no_key=True).values_list("id"))


@transaction.atomic
def _book(
    by: Staff | None,
    now: datetime,
    today: date,
    line: AcceptedLine,
    wanted: Collection[tuple[int, Lane, int | None]],
) -> Appointment:
    if (line.patient.pk, line.lane, line.eye.pk if line.eye else None) not in wanted:
        raise Refused("booked meanwhile, or nothing is to be booked any more.", code="booked_meanwhile")
    return book_appointment(
        by=by,
        now=now,
        today=today,
        patient=line.patient,
        session=line.session,
        lane=line.lane.value,
        eye=line.eye,
    )
