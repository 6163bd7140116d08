"""Notes the answer to an invitation, from the file that a mail program saves, or from the mail itself."""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from followup.domain.errors import FollowUpError
from followup.interchange.feeds.reply import read_reply
from followup.management.commands._arguments import content_of, staff_named
from followup.services.replies import record_reply


class Command(BaseCommand):
    help = "Note on its appointment what an invited person answered (METHOD:REPLY)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "file", type=Path, help="the answer, or the mail with it, as it was saved; - reads standard input"
        )
        parser.add_argument("--by", default="", help="Sign-in name of whoever is responsible.")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            file = options["file"]
            reply = read_reply(sys.stdin.buffer.read() if str(file) == "-" else content_of(file))
            appointment, new = record_reply(
                by=staff_named(options["by"]),
                now=timezone.now(),
                uid=reply.uid,
                sequence=reply.sequence,
                stamp=reply.stamp,
                attendee=reply.attendee,
                answer=reply.answer,
            )
        except FollowUpError as fault:
            raise CommandError(fault.message) from None
        known = "" if new else " This was known already."
        self.stdout.write(
            f"No. {appointment.patient.record_number}, {appointment.day:%-d %b %Y} "
            f"{appointment.local_time:%H:%M}: {reply.answer.label}.{known}"
        )
