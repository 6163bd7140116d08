"""A long sheet written in parts by a worker: claimed, carried on after a crash, stopped when told to."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Q

from followup.domain.errors import Refused
from followup.models import ImportBatch, Staff
from followup.services.history import record_change
from followup.services.rows import locked

LEASE = timedelta(minutes=10)
"""A part takes seconds; a worker that says nothing for so long is gone, and another may go on."""


@transaction.atomic
def queue_import(*, by: Staff | None, now: datetime, batch: ImportBatch) -> ImportBatch:
    """Hands a checked or stopped sheet to the worker. Raises Refused for any other."""
    batch = locked(batch)
    if batch.state not in ("checked", "stopped"):
        raise Refused("This sheet is not waiting to be confirmed. Check it first.")
    batch.state, batch.confirmed_by, batch.lease_until, batch.problem = "writing", by, None, ""
    batch.save(update_fields=["state", "confirmed_by", "lease_until", "problem"])
    after = {"file_name": batch.file_name, "rows_done": batch.rows_done}
    record_change(by=by, at=now, site=batch.site, verb="queue_import", subject=batch, after=after)
    return batch


@transaction.atomic
def stop_import(*, by: Staff | None, now: datetime, batch: ImportBatch, problem: str = "") -> ImportBatch:
    """Stops a sheet after the part under way; what is written stays until it is gone on with or undone."""
    batch = locked(batch)
    if batch.state != "writing":
        raise Refused("This sheet is not being written.")
    batch.state, batch.lease_until, batch.problem = "stopped", None, problem[:400]
    batch.save(update_fields=["state", "lease_until", "problem"])
    after = {"rows_done": batch.rows_done, "problem": problem}
    record_change(by=by, at=now, site=batch.site, verb="stop_import", subject=batch, after=after)
    return batch


def claim_import(*, now: datetime) -> ImportBatch | None:
    """The oldest sheet waiting to be written that no worker has in hand, now in this one's."""
    free = Q(lease_until__isnull=True) | Q(lease_until__lt=now)
    for batch in ImportBatch.objects.filter(free, state="writing").order_by("id"):
        mine = ImportBatch.objects.filter(free, pk=batch.pk, state="writing")
        if mine.update(lease_until=now + LEASE) == 1:
            batch.lease_until = now + LEASE
            return batch
    return None


def release_import(*, batch: ImportBatch) -> None:
    """Gives a sheet back that is not finished, for whoever takes it up next."""
    mine = ImportBatch.objects.filter(pk=batch.pk, state="writing", lease_until=batch.lease_until)
    mine.update(lease_until=None)


def keep_claim(*, now: datetime, batch: ImportBatch) -> bool:
    """Renews the lease before the next part; False once the sheet was stopped or taken by another."""
    mine = ImportBatch.objects.filter(pk=batch.pk, state="writing", lease_until=batch.lease_until)
    if mine.update(lease_until=now + LEASE) == 0:
        return False
    batch.lease_until = now + LEASE
    return True
