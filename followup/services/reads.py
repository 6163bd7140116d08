"""Who looked at whom. A look is kept as it happens, refused or not, and never edited."""

from __future__ import annotations

from datetime import datetime

from followup.models import Change, PageRead, Patient, Site, Staff
from followup.services.history import record_change


def record_read(*, by: Staff, now: datetime, patient: Patient, page: str, refused: bool = False) -> PageRead:
    """Keeps one look at a page of this patient; `page` is its address."""
    return PageRead.objects.create(at=now, by=by, patient=patient, page=page[:200], refused=refused)


def record_download(
    *, by: Staff, now: datetime, site: Site, what: str, kind: str, asked: str, rows: int
) -> Change:
    """Keeps who took rows out of the tool, as which kind of file, and by which address they were asked."""
    said = {"what": what, "kind": kind, "asked": asked, "rows": rows}
    return record_change(by=by, at=now, site=site, verb="took_out_rows", subject=site, after=said)
