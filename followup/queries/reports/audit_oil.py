"""Oil: how long it stays, whether it comes out in time, and what follows.

The first stay of oil from the index operation on counts; an exchange of oil for oil does not end it. An eye
whose oil was not taken out counts until it was last looked at.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from followup.domain.outcome import Ending
from followup.domain.survival.kaplan_meier import Point, Quantile, kaplan_meier
from followup.queries.cohort_choice import CohortChoice, Errors, days_of_months
from followup.queries.cohort_row import CohortRow, OilStay
from followup.queries.cohorts import Cohort
from followup.queries.reports.audit_counts import Count, EyeList, Rows, Share

MARKS = (2, 3, 6, 12)
"""Months at which the curve to removal is read."""
AFTER_MARKS = (3, 6, 12, 24)
"""Months after removal at which redetachment is read."""


@dataclass(frozen=True, slots=True)
class OilMark:
    months: int
    point: Point


@dataclass(frozen=True, slots=True)
class OilReport:
    """`still_in`: share not yet removed at so many months, by Kaplan-Meier; `free_after`: of redetachment."""

    filled: Count
    removed: Count
    median_days: Quantile
    still_in: tuple[OilMark, ...]
    due: int
    """Eyes whose removal window had closed by the lock date, the owner alive, and no decision to keep it."""
    kept: Count
    """Eyes beside them: in the eye beyond the window by a decision in force on its last day."""
    in_time: Share
    after: tuple[Share, ...]
    free_after: tuple[OilMark, ...]


def oil(cohort: Cohort) -> OilReport | None:
    """None where no eye of the cohort was filled."""
    stays = _stays(cohort.rows)
    if not stays:
        return None
    choice = cohort.choice
    by_key = {part.key: part for part in lists(cohort)}
    to_removal = kaplan_meier(
        [_days(stay, row, choice.lock) for row, stay in stays],
        [stay.out_on is not None for _, stay in stays],
        cluster=_patients([row for row, _ in stays], choice),
    )
    due = due_removals(cohort)
    removed = len(by_key["oil_out"].rows)
    return OilReport(
        filled=by_key["oil"].count,
        removed=by_key["oil_out"].count,
        median_days=to_removal.median,
        still_in=_marks(to_removal.points([days_of_months(month) for month in MARKS]), MARKS),
        due=len(due),
        kept=by_key["oil_kept"].count,
        in_time=by_key["oil_in_time"].among(len(due)),
        after=tuple(by_key[key].among(removed) for key in ("oil_redetached", "oil_detached_by_removal")),
        free_after=_free_after(by_key["oil_out"].rows, choice),
    )


def lists(cohort: Cohort) -> Iterator[EyeList]:
    stays = _stays(cohort.rows)
    out = [(row, stay) for row, stay in stays if stay.out_on]
    yield EyeList("oil", "Filled with oil", [row for row, _ in stays])
    yield EyeList("oil_out", "Oil taken out by the lock date", [row for row, _ in out])
    yield EyeList("oil_still_in", "Oil not taken out", [row for row, stay in stays if not stay.out_on])
    due = due_removals(cohort)
    in_time = [row for row, stay in due if not stay.was_late]
    yield EyeList("oil_in_time", "Taken out by the end of the removal window", in_time)
    late = [row for row, stay in due if stay.was_late]
    yield EyeList("oil_late", "Not taken out by the end of the removal window", late)
    kept = [row for row, stay in closed_windows(cohort) if is_set_apart(stay)]
    yield EyeList("oil_kept", "Kept beyond the removal window by a decision", kept)
    after = [row for row, stay in out if stay.after is Ending.RECURRED]
    yield EyeList("oil_redetached", "Redetached after removal", after)
    before = [row for row, stay in out if stay.after in (Ending.NEVER_STARTED, Ending.PRIMARY_FAILURE)]
    yield EyeList("oil_detached_by_removal", "Detached before removal, or on its day", before)


def _stays(rows: Rows) -> list[tuple[CohortRow, OilStay]]:
    return [(row, row.oil) for row in rows if row.oil]


def due_removals(cohort: Cohort) -> list[tuple[CohortRow, OilStay]]:
    """The eyes that are judged by the removal window: all but those whose oil was kept by a decision."""
    return [(row, stay) for row, stay in closed_windows(cohort) if not is_set_apart(stay)]


def is_set_apart(stay: OilStay) -> bool:
    """Kept by a decision beyond the window. Taken out within it all the same, it counts as in time."""
    return stay.kept and stay.was_late


def closed_windows(cohort: Cohort) -> list[tuple[CohortRow, OilStay]]:
    """Those whose window closed by the lock date; not those whose owner died first with the oil in."""
    return [
        (row, stay)
        for row, stay in _stays(cohort.rows)
        if stay.limit <= cohort.choice.lock
        and not (stay.out_on is None and row.died_on and row.died_on <= stay.limit)
    ]


def _days(stay: OilStay, row: CohortRow, lock: date) -> int:
    end = stay.out_on or min(stay.seen_until, row.died_on or lock)
    return max(0, (end - stay.placed_on).days)


def _free_after(rows: Rows, choice: CohortChoice) -> tuple[OilMark, ...]:
    followed = [(row, row.oil) for row in rows if row.oil and row.oil.after_days is not None]
    curve = kaplan_meier(
        [stay.after_days or 0 for _, stay in followed],
        [stay.after is Ending.RECURRED for _, stay in followed],
        cluster=_patients([row for row, _ in followed], choice),
    )
    return _marks(curve.points([days_of_months(month) for month in AFTER_MARKS]), AFTER_MARKS)


def _marks(points: tuple[Point, ...], months: tuple[int, ...]) -> tuple[OilMark, ...]:
    return tuple(OilMark(month, point) for month, point in zip(months, points, strict=True))


def _patients(rows: Rows, choice: CohortChoice) -> list[str] | None:
    return [row.patient_code for row in rows] if choice.errors is Errors.PATIENTS else None
