"""The address in a reminder by which a person says that they cannot come.

It is signed with the secret key of the installation, so it cannot be guessed, and it names one visit at one
sequence number, so it stands for that date alone. Opening it changes nothing.
"""

from __future__ import annotations

import base64
import binascii
from uuid import UUID

from django.conf import settings
from django.core.signing import BadSignature, Signer

from followup.models import Appointment

PATH = "cannot-come/"


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


def _signer() -> Signer:
    return Signer(salt="followup.cannot-come", sep=".")
