"""The addresses in a reminder: one says that the person cannot come, the other stops such messages.

They are signed with the secret key of the installation, so they cannot be guessed. The first names one visit
at one sequence number, so it stands for that date alone; the second names one person and one channel. Opening
them changes nothing.
"""

from __future__ import annotations

import base64
import binascii
from uuid import UUID

from django.conf import settings
from django.core.signing import BadSignature, Signer

from followup.domain.words import Channel
from followup.models import Appointment

PATH = "cannot-come/"
STOP_PATH = "stop-messages/"


def cannot_come_address(appointment: Appointment) -> str:
    """The whole address, as it stands in the message."""
    return f"{settings.BASE_URL.rstrip('/')}/{PATH}{token_of(appointment.uid, appointment.sequence)}/"


def token_of(uid: UUID, sequence: int) -> str:
    short = base64.urlsafe_b64encode(uid.bytes).rstrip(b"=").decode()
    return _signer().sign(f"{short}.{sequence}")


def read_token(token: str) -> tuple[UUID, int] | None:
    """The uid and sequence number that were signed; None for anything that this installation did not sign."""
    try:
        short, _, sequence = _signer().unsign(token).partition(".")
        return UUID(bytes=base64.urlsafe_b64decode(short + "==")), int(sequence)
    except (BadSignature, binascii.Error, ValueError):
        return None


def stop_address(patient_id: int, channel: Channel) -> str:
    """The whole address at which this person stops messages on this channel."""
    return f"{settings.BASE_URL.rstrip('/')}/{STOP_PATH}{stop_token(patient_id, channel)}/"


def stop_token(patient_id: int, channel: Channel) -> str:
    return _stop_signer().sign(f"{patient_id}.{channel.value}")


def read_stop_token(token: str) -> tuple[int, Channel] | None:
    """The person and the channel that were signed; None for anything that this installation did not sign."""
    try:
        patient, _, channel = _stop_signer().unsign(token).partition(".")
        return int(patient), Channel(channel)
    except (BadSignature, ValueError):
        return None


def _signer() -> Signer:
    return Signer(salt="followup.cannot-come", sep=".")


def _stop_signer() -> Signer:
    return Signer(salt="followup.stop-messages", sep=".")
