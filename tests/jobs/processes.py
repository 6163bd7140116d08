"""Our own programs as processes of their own, on the test's database and mail server."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.conf import settings

from tests.servers import MailServer


def environment(folder: Path, database_url: str, mail_server: MailServer, **more: str) -> dict[str, str]:
    """The settings of a machine whose files lie in `folder`."""
    own = {
        "DATABASE_URL": database_url,
        "EMAIL_URL": mail_server.url,
        "FOLLOWUP_DATA_DIR": str(folder),
        "LOG_LEVEL": "INFO",
        "PYTHONUNBUFFERED": "1",
    }
    return {**os.environ, **own, **more}


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
