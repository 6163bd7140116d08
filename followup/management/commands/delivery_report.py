"""Takes a mail server's report that an e-mail could not be delivered, from a file or a mailbox's pipe."""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from followup.domain.errors import FollowUpError
from followup.interchange.messages.returned import LARGEST, read_report, take_report
from followup.management.commands._arguments import content_of
from followup.models import OutboxMessage
from followup.services.outbox import patient_of_key


class Command(BaseCommand):
    help = "Bring people back to the recall list whose e-mail was returned (RFC 3464)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="the mail as it was saved; - reads standard input")

    def handle(self, *args: Any, **options: Any) -> None:
        file = options["file"]
        content = sys.stdin.buffer.read(LARGEST + 1) if str(file) == "-" else content_of(file)
        try:
            message, new = take_report(report=read_report(content), now=timezone.now())
        except FollowUpError as fault:
            raise CommandError(fault.message) from None
        self.stdout.write(f"E-mail to {message.to}: not delivered. {_next(message, new)}")


def _next(message: OutboxMessage, new: bool) -> str:
    if not new:
        return "This was known already."
    if patient_of_key(message.key) is None:
        return "It was for staff: mend the address in the settings of the clinic."
    return "The person is back on the recall list."
