"""The night's work of a site: a row for each site, job and local day, claimed before and closed after."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta

from django.db import transaction

from followup.models import NightRun, OutboxMessage, Site
from followup.services.outbox import queue_message

LEASE = timedelta(minutes=20)
"""Longer than the time limit of the task that does the work."""

PAUSE = timedelta(minutes=15)
"""How long a job that broke waits before its next attempt."""

DIGEST = "digest"
TICK = "tick"
ROTA = "rota"
CLOCKS = "clocks"


def claim_night(*, site: Site, job: str, day: date, now: datetime) -> NightRun | None:
    """The run of this job on this day, leased to the caller; None if it is finished or another's."""
    lease = now + LEASE
    run, is_new = NightRun.objects.get_or_create(
        site=site, job=job, day=day, defaults={"started_at": now, "lease_until": lease}
    )
    if is_new:
        return run
    free = NightRun.objects.filter(
        pk=run.pk, finished_at__isnull=True, lease_until=run.lease_until, lease_until__lte=now
    )
    if not free.update(lease_until=lease, started_at=now):
        return None
    run.refresh_from_db()
    return run


def finish_digest(
    *, run: NightRun, now: datetime, addresses: Sequence[str], subject: str, body: str
) -> list[OutboxMessage]:
    """Write the morning digest to the outbox, one message an address, and close the run, all or nothing.

    Writes nothing if the lease was lost to another worker meanwhile.
    """
    with transaction.atomic():
        if not _close(run, finished_at=now, problem=""):
            return []
        return [
            queue_message(
                key=f"{DIGEST}/{run.site_id}/{run.day}/{address}",
                site=run.site,
                kind=DIGEST,
                to=address,
                subject=subject,
                body=body,
                due_at=now,
            )
            for address in addresses
        ]


def finish_night(*, run: NightRun, now: datetime) -> bool:
    """Close the run; False if the lease was lost to another worker meanwhile."""
    return _close(run, finished_at=now, problem="")


def put_off_night(*, run: NightRun, now: datetime, problem: str) -> None:
    """Note why the work broke, and let it be tried again after a pause."""
    _close(run, lease_until=now + PAUSE, problem=problem[:400])


def record_tick(*, site: Site, day: date, now: datetime) -> None:
    """Note that the night's worker is alive: the pages show how long ago that was."""
    NightRun.objects.update_or_create(
        site=site,
        job=TICK,
        day=day,
        defaults={"finished_at": now, "lease_until": now},
        create_defaults={"started_at": now, "finished_at": now, "lease_until": now},
    )


def _close(run: NightRun, **values: object) -> bool:
    mine = NightRun.objects.filter(pk=run.pk, finished_at__isnull=True, lease_until=run.lease_until)
    return bool(mine.update(**values))
