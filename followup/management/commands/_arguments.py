"""What several commands are given by name: a site, a member of staff, a file."""

from __future__ import annotations

from pathlib import Path

from django.core.management.base import CommandError

from followup.models import Site, Staff


def site_named(name: str) -> Site:
    try:
        return Site.objects.get(name=name)
    except Site.DoesNotExist:
        names = ", ".join(Site.objects.order_by("name").values_list("name", flat=True)) or "none yet"
        raise CommandError(f'There is no site "{name}". Sites: {names}.') from None


def staff_named(username: str) -> Staff | None:
    """None for no name: the command line itself is responsible."""
    if not username:
        return None
    try:
        return Staff.objects.get(username=username)
    except Staff.DoesNotExist:
        raise CommandError(f'Nobody signs in as "{username}".') from None


def content_of(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as fault:
        raise CommandError(f"{path} cannot be read: {fault.strerror}.") from None
