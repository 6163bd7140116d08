"""What became of the night's work, for the pages and for the next night."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from followup.models import NightRun, OutboxMessage, Site


@dataclass(frozen=True, slots=True)
class NightWork:
    """The state of a site's night work. Lists do not depend on it; messages do."""

    last_tick: datetime | None
    """When the worker last looked; None: never, so nothing is being sent."""
    last_digest: date | None
    problems: tuple[str, ...]
    """Why the digest of a day is not written, newest first."""
    undelivered: tuple[OutboxMessage, ...]
    """Messages that failed or were withheld, newest first, at most 50."""
    waiting: int
    """Messages due or being sent."""


def night_work(*, site: Site) -> NightWork:
    digests = NightRun.objects.filter(site=site, job="digest").order_by("-day")
    ticks = NightRun.objects.filter(site=site, job="tick").order_by("-day")
    messages = OutboxMessage.objects.filter(site=site).order_by("-due_at", "-id")
    broken = digests.filter(finished_at__isnull=True).exclude(problem="")
    return NightWork(
        last_tick=ticks.values_list("finished_at", flat=True).first(),
        last_digest=digests.filter(finished_at__isnull=False).values_list("day", flat=True).first(),
        problems=tuple(f"{run.day:%-d %b %Y}: {run.problem}" for run in broken[:10]),
        undelivered=tuple(messages.filter(state__in=["failed", "withheld"])[:50]),
        waiting=messages.filter(state__in=["due", "sending"]).count(),
    )


def previous_digest_day(*, site: Site, day: date) -> date:
    """The day of the last digest written before `day`; the day before, if there was none."""
    earlier = NightRun.objects.filter(site=site, job="digest", day__lt=day, finished_at__isnull=False)
    last = earlier.order_by("-day").values_list("day", flat=True).first()
    return last or day - timedelta(days=1)
