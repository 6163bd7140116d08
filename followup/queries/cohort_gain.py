"""Whether a later reading of an eye is three lines (15 letters) better than the one before its operation."""

from __future__ import annotations

from followup.domain.acuity.change import Direction, change
from followup.domain.facts import OperationFact
from followup.queries.cohort_facts import Findings, StoredReading, reading_of
from followup.queries.cohort_times import BEFORE_DAYS


def gains(found: Findings, index: OperationFact) -> dict[int, bool]:
    """By exam id, the exams after the operation that say something; nothing without a reading before it.

    Readings of the same correction and chart are compared. Gas or oil in the eye takes none out: it can only
    hide a gain. Below the chart there are no lines: such a reading shows none gained, and an eye that began
    there is not asked.
    """
    told: dict[int, bool] = {}
    before: list[StoredReading] = []
    for exam in found.exams:
        since = (exam.day - index.date).days
        read = found.readings.get(exam.id, [])
        if -BEFORE_DAYS <= since <= 0:
            before = read or before
        elif since > 0:
            says = [said for one in read for first in before if (said := _gained(first, one)) is not None]
            if says:
                told[exam.id] = any(says)
    return told


def _gained(first: StoredReading, later: StoredReading) -> bool | None:
    """None where the two say nothing of a gain."""
    found = change(reading_of(first, ""), reading_of(later, ""))
    if found.gain is not None:
        return found.three_lines_or_more_gained
    return False if found.direction in (Direction.SAME, Direction.WORSE) and not first.category else None
