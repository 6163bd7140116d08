"""Processes that send what is due and are killed, one at each step: python -m tests.benchmarks.killed_senders

Each is forked from this one, which has no thread and no connection, so that ten cost little more than one.
"""

from __future__ import annotations

import os
import sys

import django

SENT_BEFORE = 1
"""Each gets one message through, and dies over the next."""


def main() -> int:
    """The number of steps at which the process was not killed."""
    from tests.benchmarks.killing import STEPS

    return sum(not _killed_at(step) for step in STEPS)


def _killed_at(step: str) -> bool:
    child = os.fork()
    if child == 0:
        _send(step)
        os._exit(0)
    _, status = os.waitpid(child, 0)
    return os.WIFSIGNALED(status)


def _send(step: str) -> None:
    from followup.jobs.night import send_due_messages
    from tests.benchmarks.killing import die_at

    die_at(step, nth=SENT_BEFORE + 1)
    send_due_messages()


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    django.setup()
    sys.exit(main())
