"""Our own programs as processes of their own."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.conf import settings

OF_THE_TESTS = ("DATABASE_URL", "REDIS_URL", "EMAIL_URL")


def machine_with_nothing_set(folder: Path, **more: str) -> dict[str, str]:
    """The environment of a machine whose files lie in `folder`, and `more` settings by their names.

    It knows nothing of the servers that the tests themselves run on.
    """
    kept = {name: value for name, value in os.environ.items() if name not in OF_THE_TESTS}
    own = {"FOLLOWUP_DATA_DIR": str(folder), "LOG_LEVEL": "INFO", "PYTHONUNBUFFERED": "1"}
    return {**kept, **own, **more}


@contextmanager
def running(
    arguments: list[str], settings_of: dict[str, str], log: Path
) -> Iterator[subprocess.Popen[bytes]]:
    """`python` with these arguments; whatever it prints goes to `log`. Killed at the end if still there."""
    with log.open("wb") as output:
        process = subprocess.Popen(
            [sys.executable, *arguments],
            env=settings_of,
            cwd=settings.BASE_DIR,
            stdout=output,
            stderr=subprocess.STDOUT,
        )
        try:
            yield process
        finally:
            process.kill()
            process.wait(timeout=10)
