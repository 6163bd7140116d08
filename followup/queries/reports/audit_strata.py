"""Eyes told apart: a curve for each group, and whether the groups differ.

The log-rank test takes eyes as independent. Where patients have eyes in several groups the test within
patients stands beside it: it compares only the eyes of the same person.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from followup.domain.survival.comparison import Difference
from followup.domain.survival.kaplan_meier import Quantile
from followup.domain.survival.log_rank import LogRank, log_rank
from followup.domain.survival.restricted_mean import survival_difference
from followup.domain.words import Procedure
from followup.queries.cohort_choice import Stratum
from followup.queries.cohort_row import CohortRow
from followup.queries.cohorts import Cohort
from followup.queries.reports.audit_counts import Count, EyeList, Rows
from followup.queries.reports.audit_curve import (
    Mark,
    Step,
    curve_of,
    followed_eyes,
    marks_of,
    steps_of,
)

MOST_GROUPS = 6
LETTERS = "ABCDEF"
_OTHERS = "All others"
_LENGTHS = ((24.0, "Below 24 mm"), (26.5, "24 to below 26.5 mm"), (30.0, "26.5 to below 30 mm"))
"""Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Group:
    """Eyes of one group that are in the curve; `letter` marks its line in the drawing."""

    letter: str
    count: Count
    events: int
    marks: tuple[Mark, ...]
    steps: tuple[Step, ...]
    drawn_until: int | None
    median: Quantile


@dataclass(frozen=True, slots=True)
class Strata:
    """`within`: only where patients have eyes in several groups. `difference`: of exactly two groups, second
    minus first at the horizon; it keeps two eyes of one person together where the limits do."""

    stratum: Stratum
    groups: tuple[Group, ...]
    test: LogRank
    within: LogRank | None
    crossing: int
    """Patients with eyes in more than one group."""
    difference: Difference | None


def strata(cohort: Cohort, minimum_at_risk: int) -> Strata | None:
    """None where the eyes are not told apart, or none is in the curve."""
    choice = cohort.choice
    parts = [part for part in groups(cohort) if any(row.in_curve for row in part.rows)]
    if choice.strata is None or not parts:
        return None
    followed = [[row for row in part.rows if row.in_curve] for part in parts]
    curves = [curve_of(followed_eyes(rows, choice.lock), choice) for rows in followed]
    crossing = _crossing(followed)
    return Strata(
        stratum=choice.strata,
        groups=tuple(
            Group(
                letter=part.key[-1].upper(),
                count=EyeList(part.key, part.label, rows).count,
                events=int(curve.events.sum()),
                marks=marks_of(curve, (0, *choice.marks)),
                steps=steps_of(curve, choice.horizon_days),
                drawn_until=min(int(curve.drawn_until(minimum_at_risk)), choice.horizon_days)
                if len(rows) >= max(minimum_at_risk, 1)
                else None,
                median=curve.median,
            )
            for part, rows, curve in zip(parts, followed, curves, strict=True)
        ),
        test=_test(followed),
        within=_within(followed, crossing) if crossing else None,
        crossing=len(crossing),
        difference=survival_difference(curves[0], curves[1], choice.horizon_days)
        if len(curves) == 2
        else None,
    )


def groups(cohort: Cohort) -> tuple[EyeList, ...]:
    """The eyes of the cohort by group, at most six; of more, the five largest and all others."""
    stratum = cohort.choice.strata
    if stratum is None:
        return ()
    by_label: defaultdict[str, list[CohortRow]] = defaultdict(list)
    label_of = _labeller(cohort, stratum)
    for row in cohort.rows:
        by_label[label_of(row)].append(row)
    kept = sorted(by_label, key=lambda label: (-len(by_label[label]), label))
    if len(kept) > MOST_GROUPS:
        kept, rest = kept[: MOST_GROUPS - 1], kept[MOST_GROUPS - 1 :]
        by_label[_OTHERS] = [row for label in rest for row in by_label[label]]
    order = sorted(kept) + ([_OTHERS] if _OTHERS in by_label else [])
    return tuple(
        EyeList(f"group_{LETTERS[place].lower()}", label, by_label[label])
        for place, label in enumerate(order)
    )


def _labeller(cohort: Cohort, stratum: Stratum) -> Callable[[CohortRow], str]:
    years = _spans(cohort.rows) if stratum is Stratum.YEAR else {}
    simple: dict[Stratum, Callable[[CohortRow], str]] = {
        Stratum.SITE: lambda row: row.site,
        Stratum.SURGEON: lambda row: cohort.surgeons.get(row.surgeon_code, "Not recorded"),
        Stratum.YEAR: lambda row: years[row.index_date.year],
        Stratum.INDICATION: lambda row: row.indication.label,
        Stratum.PROCEDURE: _together,
        Stratum.TAMPONADE: lambda row: row.tamponade.label,
        Stratum.AXIAL_LENGTH: _length,
        Stratum.STAPHYLOMA: lambda row: f"Staphyloma: {row.traits.staphyloma.label.lower()}",
        Stratum.EXTENT: lambda row: row.extent.label,
        Stratum.BUCKLE: _buckle,
        Stratum.ONLY_EYE: lambda row: "Only eye" if row.traits.only_eye else "Fellow eye sees",
        Stratum.REPEAT: lambda row: row.repeat.label,
    }
    return simple[stratum]


def _spans(rows: Rows) -> dict[int, str]:
    """Each year by the span it falls in: as many years a span as make six spans at most."""
    years = {row.index_date.year for row in rows}
    if not years:
        return {}
    first, last = min(years), max(years)
    width = -(-(last - first + 1) // MOST_GROUPS)
    spans = {}
    for year in years:
        start = first + (year - first) // width * width
        end = min(start + width - 1, last)
        spans[year] = str(start) if end == start else f"{start} to {end}"
    return spans


def _together(row: CohortRow) -> str:
    done = [procedure.label for procedure in Procedure if procedure in row.procedures]
    return " + ".join(done) or "Not recorded"


def _length(row: CohortRow) -> str:
    length = row.traits.axial_length_mm
    if length is None:
        return "Not recorded"
    return next((label for below, label in _LENGTHS if length < below), "30 mm or more")


def _buckle(row: CohortRow) -> str:
    scleral = Procedure.SCLERAL_BUCKLE in row.procedures
    macular = Procedure.MACULAR_BUCKLE in row.procedures
    if scleral and macular:
        return "Scleral and macular buckle"
    return "Scleral buckle" if scleral else "Macular buckle" if macular else "Without a buckle"


def _crossing(followed: list[list[CohortRow]]) -> set[str]:
    seen = Counter(code for rows in followed for code in {row.patient_code for row in rows})
    return {code for code, count in seen.items() if count > 1}


def _placed(followed: list[list[CohortRow]]) -> Iterator[tuple[CohortRow, int]]:
    return ((row, place) for place, rows in enumerate(followed) for row in rows)


def _test(followed: list[list[CohortRow]]) -> LogRank:
    placed = list(_placed(followed))
    return log_rank(
        [row.days or 0 for row, _ in placed],
        [row.recurred for row, _ in placed],
        [place for _, place in placed],
    )


def _within(followed: list[list[CohortRow]], crossing: set[str]) -> LogRank:
    """Stratified by patient. Patients with eyes in one group alone would add nothing and are left out."""
    placed = [(row, place) for row, place in _placed(followed) if row.patient_code in crossing]
    return log_rank(
        [row.days or 0 for row, _ in placed],
        [row.recurred for row, _ in placed],
        [place for _, place in placed],
        stratum=[row.patient_code for row, _ in placed],
    )


def group_of_rows(cohort: Cohort) -> dict[str, str]:
    """The letter of each eye's group by the code of the eye; empty where eyes are not told apart."""
    return {row.code: LETTERS[place] for place, part in enumerate(groups(cohort)) for row in part.rows}
