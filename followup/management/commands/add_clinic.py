"""The first thing a new installation needs: a clinic, and an administrator who can add everybody else."""

from __future__ import annotations

import os
from argparse import ArgumentParser
from getpass import getpass
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import transaction
from django.utils import timezone

from followup.domain.errors import FollowUpError
from followup.domain.roles import Role
from followup.services.staff import add_site, add_staff


class Command(BaseCommand):
    help = "Add a clinic and its administrator. The password is asked for, or taken from FOLLOWUP_PASSWORD."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name", help="Name of the clinic.")
        parser.add_argument("--time-zone", required=True, help="Such as Europe/London.")
        parser.add_argument("--administrator", required=True, help="Sign-in name of the administrator.")

    def handle(self, *args: Any, **options: Any) -> None:
        password = os.environ.get("FOLLOWUP_PASSWORD") or getpass("Password for the administrator: ")
        now = timezone.now()
        try:
            with transaction.atomic():
                site = add_site(by=None, now=now, name=options["name"], time_zone=options["time_zone"])
                add_staff(
                    by=None,
                    now=now,
                    username=options["administrator"],
                    password=password,
                    role=Role.ADMINISTRATOR.value,
                    sites=[site],
                    may_enter_admin=True,
                )
        except FollowUpError as fault:
            raise CommandError(fault.message) from None
        self.stdout.write(f"{site.name} is there. Sign in as {options['administrator']} and add your staff.")
