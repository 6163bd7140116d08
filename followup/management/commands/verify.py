"""Derives every plan anew and compares it with what is stored."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from followup.domain.errors import FollowUpError
from followup.services.pathway import replan_eyes, verify


class Command(BaseCommand):
    help = "Derive all fills, courses and windows anew, and name every eye whose stored rows differ."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--repair", action="store_true", help="store what the records say")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            differences = list(verify())
        except FollowUpError as fault:
            raise CommandError(fault.message) from None
        for found in differences:
            self.stdout.write(
                f"Eye {found.eye_id}, {found.what}: stored {found.stored}, by the records {found.derived}"
            )
        if not differences:
            self.stdout.write("Every stored row is what the records say.")
        elif options["repair"]:
            replan_eyes(eye_ids={found.eye_id for found in differences})
            self.stdout.write("Stored anew.")
        else:
            raise CommandError(
                "Rows differ from what the records say. Run again with --repair to store them anew."
            )
