"""The night's worker and its beat as threads of the web process, for the one machine without a broker."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager

from celery import current_app
from celery.beat import EmbeddedService
from celery.worker import WorkController

from followup.jobs.tasks import tick

STOPPING_SECONDS = 25
"""How long a task under way may take to end; a killed one harms nothing, and is done the next time."""


@contextmanager
def embedded_worker() -> Iterator[None]:
    """Run one worker and one beat while the block runs. The queue lives in memory and holds only ticks."""
    worker = WorkController(app=current_app, pool_cls="solo", concurrency=1, hostname="embedded@localhost")
    thread = threading.Thread(target=worker.start, name="worker", daemon=True)
    # The database knows what is done, so beat needs no schedule file that a crash could spoil.
    beat = EmbeddedService(current_app, thread=True, max_interval=5, scheduler_cls="celery.beat:Scheduler")
    assert isinstance(beat, threading.Thread)
    thread.start()
    beat.start()
    tick.delay()
    try:
        yield
    finally:
        beat.stop()
        worker.stop(exitcode=0)
        thread.join(STOPPING_SECONDS)
