"""Surgeons without a sign-in: a number is drawn for each name, to stand for it where nobody is named."""

from __future__ import annotations

from collections.abc import Iterable

from followup.models import TypedSurgeon


def know_surgeons(names: Iterable[str]) -> None:
    """Part of writing operations: names that are known keep their number, the empty one gets none."""
    TypedSurgeon.objects.bulk_create(
        [TypedSurgeon(name=name) for name in sorted({*names} - {""})], ignore_conflicts=True
    )
