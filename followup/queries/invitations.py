"""Which invitations are to be written: of a visit that was booked, moved or cancelled since the last one."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Exists, F, OuterRef, Q, QuerySet

from followup.domain.words import AppointmentState, Channel
from followup.models import Appointment, Consent, Site
from followup.queries.outbox import written_keys

KIND = "invitation"


@dataclass(frozen=True, slots=True)
class Invite:
    """One message to write: the visit as it stands now, to the person's e-mail address."""

    appointment: Appointment

    @property
    def to(self) -> str:
        return self.appointment.patient.email

    @property
    def key(self) -> str:
        """Once for each state of the visit and each address; what of the address is no part of it."""
        person, place = self.appointment.patient_id, f"{self.appointment.uid}/{self.appointment.sequence}"
        address = hashlib.sha256(self.to.encode()).hexdigest()[:8]
        return f"patient/{person}/{KIND}/{place}/{address}"

    @property
    def is_off(self) -> bool:
        return self.appointment.state == AppointmentState.CANCELLED.value

    @property
    def is_change(self) -> bool:
        """The person was invited before, to another time."""
        return self.appointment.invited_sequence is not None


def place_of_invitation(key: str) -> tuple[str, int]:
    """The uid and the sequence number of the visit that an invitation tells of."""
    _, _, _, uid, sequence, _ = key.split("/")
    return uid, int(sequence)


def invitations_to_write(*, site: Site, now: datetime) -> list[Invite]:
    """Of visits ahead, to those who agreed to e-mail and have an address; not written yet. Two queries or so.

    A visit is told of as it stands: moved twice before anything went out, once. Its end is told only to
    somebody who was invited to it.
    """
    if not site.sends_invitations:
        return []
    wanted = [Invite(appointment) for appointment in _to_tell(site, now)]
    written = written_keys([invite.key for invite in wanted])
    return [invite for invite in wanted if invite.key not in written]


def _to_tell(site: Site, now: datetime) -> QuerySet[Appointment]:
    agreed = Consent.objects.filter(
        patient=OuterRef("patient"), channel=Channel.EMAIL.value, withdrawn_on=None
    )
    booked, cancelled = AppointmentState.BOOKED.value, AppointmentState.CANCELLED.value
    behind = Q(invited_sequence__lt=F("sequence"))
    untold = Q(state=booked, invited_sequence=None) | Q(behind, state__in=(booked, cancelled))
    places = Appointment.objects.filter(
        untold, Exists(agreed), patient__site=site, patient__died_on=None, starts_at__gt=now
    ).exclude(patient__email="")
    return places.select_related("patient__site", "session__site").order_by("starts_at", "id")
