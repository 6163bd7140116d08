"""Does the night's work once, for machines that start it by cron instead of a worker."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from followup.jobs.night import run_night


class Command(BaseCommand):
    help = (
        "Write each site's morning digest if its hour has come and it is not written, then send the outbox."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        run_night()
