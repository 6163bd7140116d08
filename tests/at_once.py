"""Runs one piece of work in several threads, all let go at the same moment."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import TypeVar

from django.db import connection

Result = TypeVar("Result")


def at_once(work: Callable[[], Result], *, times: int = 8) -> list[Result]:
    """What each run of `work` returned; its error is raised here. Needs a test with real transactions."""
    start = Barrier(times)

    def run() -> Result:
        start.wait()
        try:
            return work()
        finally:
            connection.close()

    with ThreadPoolExecutor(times) as threads:
        runs = [threads.submit(run) for _ in range(times)]
    return [done.result() for done in runs]
