"""Anatomical success, primary and final: without tamponade and with oil still in, and the hole closed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

from followup.domain.outcome import FinalState, HoleState
from followup.queries.cohort_row import CohortRow
from followup.queries.reports.audit_counts import EyeList, Rows, Share


@dataclass(frozen=True, slots=True)
class Anatomy:
    """Shares of the eyes whose retina, or hole, was seen after the operation."""

    primary: tuple[Share, ...]
    final: tuple[Share, ...]
    not_seen: int
    """Eyes whose retina was never seen after the operation: they are in no share of the retina."""
    hole: tuple[Share, ...]
    hole_not_seen: int
    """Eyes with a hole that was never seen after the operation."""


def anatomy(rows: Rows) -> Anatomy:
    primary, final, hole = primary_lists(rows), final_lists(rows), hole_lists(rows)
    return Anatomy(
        primary=_shares(primary),
        final=_shares(final),
        not_seen=sum(row.final is FinalState.NOT_SEEN for row in rows),
        hole=_hole_shares(hole),
        hole_not_seen=sum(row.hole is HoleState.NOT_SEEN for row in rows),
    )


def lists(rows: Rows) -> Iterator[EyeList]:
    yield from primary_lists(rows)
    yield from final_lists(rows)
    yield from hole_lists(rows)


def primary_lists(rows: Rows) -> tuple[EyeList, ...]:
    """Primary success, split by what is in the eye."""
    parts: defaultdict[str, list[CohortRow]] = defaultdict(list)
    for row in rows:
        if row.primary_success is not None:
            parts[row.final.value if row.primary_success else "no"].append(row)
    return (
        EyeList("primary_attached", "Attached without oil", parts["attached"]),
        EyeList("primary_oil", "Attached under oil: provisional", parts["attached_under_oil"]),
        EyeList("primary_no", "Not a primary success", parts["no"]),
    )


def final_lists(rows: Rows) -> tuple[EyeList, ...]:
    """The retina when last seen, whatever operations it took."""
    parts: defaultdict[FinalState, list[CohortRow]] = defaultdict(list)
    for row in rows:
        parts[row.final].append(row)
    return (
        EyeList("final_attached", "Attached without oil", parts[FinalState.ATTACHED]),
        EyeList("final_oil", "Attached under oil: provisional", parts[FinalState.ATTACHED_UNDER_OIL]),
        EyeList("final_detached", "Detached", parts[FinalState.DETACHED]),
    )


def hole_lists(rows: Rows) -> tuple[EyeList, ...]:
    closed = [row for row in rows if row.hole is HoleState.CLOSED]
    return (
        EyeList("hole_primary", "Closed after one operation", [row for row in closed if row.hole_primary]),
        EyeList("hole_closed", "Closed when last seen", closed),
        EyeList("hole_open", "Open when last seen", [row for row in rows if row.hole is HoleState.OPEN]),
    )


def _shares(parts: tuple[EyeList, ...]) -> tuple[Share, ...]:
    """Of parts that make up the whole."""
    total = sum(len(part.rows) for part in parts)
    return tuple(part.among(total) for part in parts)


def _hole_shares(parts: tuple[EyeList, ...]) -> tuple[Share, ...]:
    total = len(parts[1].rows) + len(parts[2].rows)
    return tuple(part.among(total) for part in parts)
