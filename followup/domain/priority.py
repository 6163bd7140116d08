"""Whom to call first, with the reasons in words.

The order is common practice, no source: new symptoms, oil past its limit, then an only eye, then two or
more reviews missed in a row, then a child, then the days past the window.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from followup.domain.standing import EyeStanding, EyeState
from followup.domain.words import Lane, Standing

_RANK = {standing: place for place, standing in enumerate(Standing)}


@dataclass(frozen=True, slots=True, order=True)
class Priority:
    """Sorts most pressing first; the reasons say why, in the same order."""

    key: tuple[int, ...]
    reasons: tuple[str, ...] = ()


def priority_of(state: EyeState, standing: EyeStanding, day: date) -> Priority:
    oil_past = _days_overdue(standing, Lane.REMOVAL, day)
    past = _days_overdue(standing, Lane.REVIEW, day)
    child = state.is_child_on(day)
    told = bool(state.open_reports)
    opens = _days_to_opening(standing, day)
    key = (
        _RANK[standing.standing],
        -int(told),
        -int(oil_past > 0),
        -int(state.traits.only_eye),
        -int(standing.missed >= 2),
        -int(child),
        -max(oil_past, past),
        opens,
        state.eye_id,
    )
    return Priority(key, tuple(_reasons(state, standing, day, oil_past, past, child)))


def _reasons(
    state: EyeState, standing: EyeStanding, day: date, oil_past: int, past: int, child: bool
) -> list[str]:
    reasons = ["Reports new symptoms"] if state.open_reports else []
    if oil_past > 0 and state.fill is not None:
        inside = state.fill.days_in_eye(day)
        reasons.append(
            f"{state.fill.tamponade.label} in the eye {_days(inside)}, {_days(oil_past)} past its limit"
        )
    if state.traits.only_eye:
        reasons.append("Only eye")
    if standing.missed >= 2:
        reasons.append(f"Missed {standing.missed} reviews in a row")
    if child:
        reasons.append("Child")
    if past > 0:
        reasons.append(f"{_days(past)} past the window")
    return reasons


def _days(number: int) -> str:
    return f"{number} day" if number == 1 else f"{number} days"


def _days_overdue(standing: EyeStanding, lane: Lane, day: date) -> int:
    """Days since the first window of this lane closed unmet; 0 while none has."""
    overdue = (each for each in standing.lanes if each.lane is lane and each.standing is Standing.OVERDUE)
    return max(((day - each.since).days for each in overdue if each.since), default=0)


def _days_to_opening(standing: EyeStanding, day: date) -> int:
    leading = standing.leading
    return (leading.milestone.opens - day).days if leading and leading.milestone else 0
