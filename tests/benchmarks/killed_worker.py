"""A real Celery worker, killed at a step of sending: python -m tests.benchmarks.killed_worker STEP NTH"""

from __future__ import annotations

import sys

from config.celery import app


def main(step: str, nth: int) -> None:
    app.set_default()
    app.loader.import_default_modules()
    from tests.benchmarks.killing import die_at

    die_at(step, nth=nth)
    app.worker_main(["worker", "--pool", "solo", "--loglevel", "INFO"])


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
