"""Serves an invented clinic from a folder of its own: demo and real patients never share a database."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

from django.conf import settings
from django.utils import timezone

from followup.management.commands import serve
from followup.services.demo import load_demo

MARK = "FOLLOWUP_DEMO"
_OF_THE_CLINIC = ("DATABASE_URL", "REDIS_URL", "EMAIL_URL", "FOLLOWUP_PRODUCTION")


class Command(serve.Command):
    help = "Fill a database of its own with an invented clinic, then serve it. A later run goes on with it."

    def handle(self, *args: Any, **options: Any) -> None:
        if MARK not in os.environ:
            _start_again_in(Path(settings.DATA_DIR) / "demo")
        super().handle(*args, **options)

    def prepare(self) -> None:
        super().prepare()
        self.stdout.write("Setting up an invented clinic with three years of follow-up: about half a minute.")
        now = timezone.now()
        summary = load_demo(today=now.date(), now=now)
        self.stdout.write("No person in it is real. Sign in as:")
        for role, username, password in summary.sign_ins:
            self.stdout.write(f"  {role:<14} {username} / {password}")


def _start_again_in(folder: Path) -> None:
    """Become the same command on the demo's own data: no broker, no other database, mail as files."""
    os.execve(sys.executable, [sys.executable, *sys.argv], environment_of(folder))


def environment_of(folder: Path) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if name not in _OF_THE_CLINIC}
    # Three slashes, and then the path from the root on.
    mail = f"filemail:///{folder.resolve() / 'mail'}"
    return {**kept, MARK: "1", "FOLLOWUP_DATA_DIR": str(folder), "EMAIL_URL": mail}
