"""Codes in place of names, from numbers that were drawn at random and are kept with the record.

A code tells nothing of the record number, of the order of entry, or of the other eye, and it stays the same
whatever becomes of the record or of the keys of the installation.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping
from uuid import UUID

from django.utils.crypto import salted_hmac

from followup.models import Staff, TypedSurgeon

_CODE_LENGTH = 12
"""Letters and digits of a code: 60 bits, so that two of a million eyes hardly ever share one."""
MOST_DAYS = 182
"""By so many days, back or forth, dates are moved at most: half a year (common practice, no source)."""


def eye_code(drawn: UUID) -> str:
    return _code("E", drawn)


def patient_code(drawn: UUID) -> str:
    return _code("P", drawn)


def days_moved(drawn: UUID) -> int:
    """1 to MOST_DAYS, back or forth, from bits of the number that are in no code."""
    days = int.from_bytes(drawn.bytes[13:]) % (2 * MOST_DAYS)
    return days - MOST_DAYS if days < MOST_DAYS else days - MOST_DAYS + 1


def _code(letter: str, drawn: UUID) -> str:
    """A letter and twelve more, never a number to a spreadsheet. Bytes 6 to 8 are not all of chance."""
    return letter + base64.b32encode(drawn.bytes[:6] + drawn.bytes[9:13]).decode()[:_CODE_LENGTH]


class SurgeonCodes:
    """Codes of members of staff and of surgeons without a sign-in, read once."""

    def __init__(self) -> None:
        drawn: dict[str, UUID] = {
            f"staff:{pk}": one for pk, one in Staff.objects.values_list("pk", "pseudonym")
        }
        typed = TypedSurgeon.objects.values_list("name", "pseudonym")
        self._drawn: Mapping[str, UUID] = drawn | {f"name:{name}": one for name, one in typed}

    def of(self, key: str) -> str:
        """`key` as `cohort_facts.surgeon_key` makes it; empty for nobody.

        A name beside an operation that no service wrote has no number yet, and a keyed hash in its place.
        """
        if not key:
            return ""
        drawn = self._drawn.get(key)
        if drawn is None:
            drawn = UUID(bytes=salted_hmac("followup.surgeon", key, algorithm="sha256").digest()[:16])
        return _code("S", drawn)
