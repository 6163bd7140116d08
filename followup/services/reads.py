"""Who looked at whom. A look is kept as it happens, refused or not, and never edited."""

from __future__ import annotations

from datetime import datetime

from followup.models import PageRead, Patient, Staff


def record_read(*, by: Staff, now: datetime, patient: Patient, page: str, refused: bool = False) -> PageRead:
    """Keeps one look at a page of this patient; `page` is its address."""
    return PageRead.objects.create(at=now, by=by, patient=patient, page=page[:200], refused=refused)
