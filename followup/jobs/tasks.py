"""The tasks. Beat sends one tick a minute; what is due, and what is done, stands in the database."""

from __future__ import annotations

from celery import shared_task

from followup.jobs.imports import run_imports
from followup.jobs.night import run_night


@shared_task(name="followup.jobs.tasks.tick")
def tick() -> None:
    run_night()
    run_imports()
