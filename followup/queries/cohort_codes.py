"""Codes in place of names: a keyed hash, stable as long as the installation keeps its secret key.

A code tells nothing of the record number, of the order of entry, or of the other eye.
"""

from __future__ import annotations

import base64
from functools import cache

from django.utils.crypto import salted_hmac

_CODE_LENGTH = 12
"""Letters and digits of a code: 60 bits, so that two of a million eyes hardly ever share one."""


class Coder:
    """Codes of one reading of a cohort. The key is derived once, each patient and surgeon coded once."""

    def __init__(self) -> None:
        self._empty = {
            kind: salted_hmac(f"followup.audit.{kind}", "", algorithm="sha256")
            for kind in ("eye", "patient", "surgeon")
        }
        self.patient = cache(self._patient)
        self.surgeon = cache(self._surgeon)

    def eye(self, eye_id: int) -> str:
        return self._code("E", "eye", str(eye_id))

    def _patient(self, patient_id: int) -> str:
        return self._code("P", "patient", str(patient_id))

    def _surgeon(self, key: str) -> str:
        """Empty for nobody."""
        return self._code("S", "surgeon", key) if key else ""

    def _code(self, letter: str, kind: str, name: str) -> str:
        """A letter and twelve more, never a number to a spreadsheet."""
        digest = self._empty[kind].copy()
        digest.update(name.encode())
        # Ten bytes are sixteen letters; encoding all of the digest would only take longer.
        return letter + base64.b32encode(digest.digest()[:10]).decode()[:_CODE_LENGTH]
