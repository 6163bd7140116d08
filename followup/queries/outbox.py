"""What stands in the outbox already."""

from __future__ import annotations

from collections.abc import Sequence

from followup.models import OutboxMessage

_PORTION = 500
"""A database takes only so many parameters."""


def written_keys(keys: Sequence[str]) -> set[str]:
    """Those of these keys that have a message, whatever became of it. One query for every 500."""
    written: set[str] = set()
    for start in range(0, len(keys), _PORTION):
        portion = OutboxMessage.objects.filter(key__in=keys[start : start + _PORTION])
        written.update(portion.values_list("key", flat=True))
    return written
