"""Long lists of ids in pieces, since a database takes only so many parameters."""

from __future__ import annotations

from collections.abc import Collection, Iterator

_SIZE = 5000


def in_chunks(ids: Collection[int]) -> Iterator[list[int]]:
    """The ids in sorted pieces of at most 5,000; one query set a piece."""
    ordered = sorted(ids)
    for start in range(0, len(ordered), _SIZE):
        yield ordered[start : start + _SIZE]
