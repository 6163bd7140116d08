"""Accepts the pathway files of a folder, by default those that are shipped."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from followup.domain.errors import FollowUpError
from followup.services.pathway import load_pathways


class Command(BaseCommand):
    help = "Accept the pathway files of a folder; an edited one becomes its next version."

    def add_arguments(self, parser: ArgumentParser) -> None:
        shipped = Path(settings.BASE_DIR) / "fixtures" / "pathways"
        parser.add_argument("folder", nargs="?", type=Path, default=shipped)

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            versions = load_pathways(folder=options["folder"])
        except FollowUpError as fault:
            raise CommandError(fault.message) from None
        for version in versions:
            in_force = "in force" if version.active else "not in force, a later version is"
            self.stdout.write(f"{version.key}: version {version.version}, {in_force}")
