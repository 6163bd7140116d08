"""Tables of the groups beside each other, of the tests between them, and of the interval-censored curve."""

from __future__ import annotations

from collections.abc import Iterator

from followup.domain.survival.comparison import Difference
from followup.domain.survival.log_rank import LogRank
from followup.domain.survival.values import NOT_ESTIMABLE, Unknown
from followup.queries.cohort_choice import CohortChoice
from followup.queries.reports.audit_curve import Mark
from followup.queries.reports.audit_intervals import WHY_IT_DIFFERS, Between, IntervalReport
from followup.queries.reports.audit_strata import Group, Strata
from followup.queries.reports.audit_tables import (
    PERCENT,
    Cell,
    Line,
    Table,
    limits,
    p_words,
    percent,
    point_words,
    whole,
)


def strata_tables(found: Strata, choice: CohortChoice) -> tuple[Table, Table]:
    free = tuple(f"Free at {months} months" for months in choice.marks)
    groups = Table(
        f"By {found.stratum.label.lower()}",
        ("Group", "Eyes", "Patients", "Events", *free),
        tuple(_group(group) for group in found.groups),
        "Each with its 95 % limits and the eyes at risk. Groups were not made by chance: a difference "
        "between them need not come from what they are named after.",
    )
    tests = Table(
        "Do the groups differ?",
        ("Comparison", "Counted", "Result", "p"),
        tuple(_tests(found, choice)),
    )
    return groups, tests


def _group(group: Group) -> Line:
    cells = (
        whole(group.count.eyes, group.count.key),
        whole(group.count.patients),
        whole(group.events),
        *(Cell(_free(mark)) for mark in group.marks if mark.months),
    )
    return Line(f"{group.letter}. {group.count.label}", cells)


def _free(mark: Mark) -> str:
    free, band = point_words(mark.point)
    return f"{free} ({band}), {mark.point.at_risk} at risk" if band else free


def _tests(found: Strata, choice: CohortChoice) -> Iterator[Line]:
    eyes = sum(int(number) for number in found.test.subjects)
    yield _test("Log-rank, each eye on its own", f"{eyes} eyes", found.test)
    if found.within:
        yield _test(
            "Log-rank within patients: only the eyes of one person are compared",
            f"{found.crossing} patients with eyes in several groups",
            found.within,
        )
    if found.difference:
        yield _difference(found, found.difference, choice)


def _test(label: str, counted: str, test: LogRank) -> Line:
    if isinstance(test.chi_squared, Unknown):
        why = test.nothing.value if test.nothing else str(NOT_ESTIMABLE)
        return Line(label, (Cell(counted), Cell(f"{NOT_ESTIMABLE}: {why}"), Cell(str(NOT_ESTIMABLE))))
    degrees = "1 degree" if test.degrees == 1 else f"{test.degrees} degrees"
    result = f"chi-squared {test.chi_squared:.2f}, {degrees} of freedom"
    return Line(label, (Cell(counted), Cell(result), Cell(p_words(test.p_value))))


def _difference(found: Strata, difference: Difference, choice: CohortChoice) -> Line:
    first, second = found.groups
    kept = "two eyes of one person kept together" if difference.paired else "each eye on its own"
    label = f"Free at {choice.horizon} months, {second.letter} minus {first.letter}; {kept}"
    counted = f"{first.count.eyes + second.count.eyes} eyes"
    value = percent(difference.value)
    result = value
    if not isinstance(difference.value, Unknown):
        result = f"{value} ({limits(difference.lower, difference.upper)})"
    return Line(label, (Cell(counted), Cell(result), Cell(p_words(difference.p_value))))


def intervals_table(found: IntervalReport) -> Table:
    grid = {1: ""}.get(found.grid, f" Days are taken to {found.grid} together, outwards.")
    return Table(
        "With the event anywhere between two visits (Turnbull)",
        ("Months", "Free, at least", "Free, at most"),
        tuple(_between(mark) for mark in found.marks),
        f"{WHY_IT_DIFFERS} Where the two columns differ, the visits do not tell more.{grid}",
    )


def _between(mark: Between) -> Line:
    return Line(
        str(mark.months),
        tuple(Cell(f"{100 * share:.1f}{PERCENT}") for share in (mark.lowest, mark.highest)),
    )
