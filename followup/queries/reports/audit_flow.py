"""Where the eyes of a cohort went: into the curve or not, seen at each time or not, lost, died."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta

from followup.domain.outcome import Ending
from followup.domain.survival.binomial import clopper_pearson
from followup.queries.cohort_choice import CohortChoice
from followup.queries.cohort_row import CohortRow
from followup.queries.cohort_times import TIMES, Time
from followup.queries.cohorts import Cohort
from followup.queries.reports.audit_counts import Count, EyeList, Rows
from followup.queries.reports.audit_tables import Line, Table, counts_table, share_cells, whole


@dataclass(frozen=True, slots=True)
class SeenAt:
    """Eyes whose window around a time had closed by the lock date, by what became of them."""

    time: Time
    due: Count
    seen: EyeList
    later: EyeList
    lost: EyeList
    died: EyeList

    @property
    def alive(self) -> int:
        return len(self.seen.rows) + len(self.later.rows) + len(self.lost.rows)


def flow(cohort: Cohort) -> tuple[Count, ...]:
    """From all eyes to the curve."""
    operated = Count("Operated on by the lock date", cohort.operated_eyes, cohort.operated_patients)
    return (operated, *(part.count for part in flow_lists(cohort)))


def flow_lists(cohort: Cohort) -> tuple[EyeList, ...]:
    rows = cohort.rows

    def ended(key: str, label: str, *endings: Ending) -> EyeList:
        return EyeList(key, label, [row for row in rows if row.ending in endings])

    return (
        EyeList("cohort", "In the cohort", rows),
        ended("primary_failure", "Primary failure: beside the curve", Ending.PRIMARY_FAILURE),
        ended("never_started", "Clock never started: not in the curve", Ending.NEVER_STARTED),
        ended("in_curve", "In the curve", Ending.RECURRED, Ending.FREE),
        EyeList("no_time", "Of these, not seen well after day 0", [row for row in rows if adds_no_time(row)]),
        ended("event", "Of these, with the event by the lock date", Ending.RECURRED),
        EyeList("lost", "Of these, lost before the horizon", lost_before_horizon(rows, cohort.choice)),
        EyeList(
            "died",
            "Of these, whose owner died by the lock date",
            [r for r in rows if r.in_curve and r.died_on],
        ),
    )


def adds_no_time(row: CohortRow) -> bool:
    return row.ending is Ending.FREE and row.days == 0


def lost_before_horizon(rows: Rows, choice: CohortChoice) -> list[CohortRow]:
    """In the curve, free when last seen before the horizon, though that could have been reached."""
    return [row for row in rows if _is_lost(row, choice)]


def _is_lost(row: CohortRow, choice: CohortChoice) -> bool:
    if row.ending is not Ending.FREE or row.start is None or row.days is None:
        return False
    last = min(choice.lock, row.died_on or choice.lock)
    return row.days < choice.horizon_days <= max(row.days, (last - row.start).days)


def seen_at(cohort: Cohort) -> tuple[SeenAt, ...]:
    """At each time since the index operation, whatever clock was asked for."""
    return tuple(_seen_at(cohort, place) for place in range(len(TIMES)))


def _seen_at(cohort: Cohort, place: int) -> SeenAt:
    time = TIMES[place]
    parts: dict[str, list[CohortRow]] = {"seen": [], "later": [], "lost": [], "died": []}
    due = [row for row in cohort.rows if (cohort.choice.lock - row.index_date).days >= time.closes]
    for row in due:
        parts[_fate(row, place)].append(row)
    names = {
        "seen": "Seen",
        "later": "Not then, but later",
        "lost": "Not then, nor later",
        "died": "Died before, or in the window unseen",
    }
    lists = {
        part: EyeList(f"at_{time.months}_{part}", f"{time.label}: {names[part].lower()}", parts[part])
        for part in names
    }
    return SeenAt(
        time, EyeList(f"at_{time.months}_due", f"{time.label}: window closed by the lock", due).count, **lists
    )


def _fate(row: CohortRow, place: int) -> str:
    if row.seen[place]:
        return "seen"
    end = row.index_date + timedelta(TIMES[place].closes)
    if row.last_exam and row.last_exam > end:
        return "later"
    return "died" if row.died_on and row.died_on <= end else "lost"


def seen_lists(cohort: Cohort) -> Iterator[EyeList]:
    for at in seen_at(cohort):
        yield from (at.seen, at.later, at.lost, at.died)


def flow_table(counts: tuple[Count, ...]) -> Table:
    return counts_table("From all eyes to the curve", "Group", counts)


def seen_table(found: tuple[SeenAt, ...]) -> Table:
    """Shares are of the eyes whose owner was alive."""
    lines = []
    for at in found:
        seen = clopper_pearson(len(at.seen.rows), at.alive)
        cells = (
            whole(at.due.eyes),
            *share_cells(seen, at.seen.key),
            whole(len(at.later.rows), at.later.key),
            whole(len(at.lost.rows), at.lost.key),
            whole(len(at.died.rows), at.died.key),
        )
        lines.append(Line(f"{at.time.label} (days {at.time.opens} to {at.time.closes})", cells))
    return Table(
        "Seen at each time",
        ("Time", "Due", "Seen", "Share of those alive", "95 % limits", "Later only", "Lost", "Died"),
        tuple(lines),
        "Due: the window around the time had closed by the data lock. Lost: not seen in the window, nor "
        "since. Counted from the index operation, whatever clock was asked for.",
    )
