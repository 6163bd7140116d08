"""Tables of sight: before the operation and after it, its change, and what could not be compared."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from followup.domain.acuity.summary import Level
from followup.domain.survival.mean import Mean
from followup.domain.survival.values import NOT_ESTIMABLE, Unknown
from followup.queries.cohort_choice import Errors
from followup.queries.cohort_times import BEFORE_DAYS, LONGEST_GAS_DAYS, TIMES
from followup.queries.reports.audit_acuity import AcuityReport, ChangeAt, SightAt
from followup.queries.reports.audit_tables import Cell, Line, Table, share_cells, whole


def sight_tables(found: AcuityReport, errors: Errors) -> tuple[Table, ...]:
    return (_levels(found), _gains(found, errors), _lines(found), _below(found), _not_compared(found))


def _levels(found: AcuityReport) -> Table:
    windows = ", ".join(f"{time.label} {time.opens} to {time.closes}" for time in TIMES)
    return Table(
        "Sight before the operation and after it",
        ("Time", "Read", "Through gas or oil", "Missing", "Median", "Quartiles", "Below the chart"),
        tuple(_level_line(at) for at in found.sight),
        f"logMAR, by the visit with a reading nearest to each time, in days: {windows}; before, the last in "
        f"the {BEFORE_DAYS} days up to the operation. Medians and quartiles put eyes below the chart in "
        "their order and leave out readings through gas or oil. Gas for which nobody looked counts as there "
        f"for {LONGEST_GAS_DAYS} days, oil until it is taken out, an unknown filling until somebody looks.",
    )


def _level_line(at: SightAt) -> Line:
    found = at.levels
    quartiles = f"{_level(found.worse_quartile)} to {_level(found.better_quartile)}"
    below = ", ".join(f"{category.replace('_', ' ')} {count}" for category, count in at.categories)
    return Line(
        at.label,
        (
            whole(len(at.clear.rows), at.clear.key),
            whole(len(at.through.rows), at.through.key),
            whole(len(at.missing.rows), at.missing.key),
            Cell(_level(found.median)),
            Cell(quartiles if found.median is not None else str(NOT_ESTIMABLE)),
            Cell(below or "none"),
        ),
    )


def _level(level: Level | None) -> str:
    if level is None:
        return str(NOT_ESTIMABLE)
    return f"{level:.2f}" if isinstance(level, Decimal) else level.replace("_", " ")


def _gains(found: AcuityReport, errors: Errors) -> Table:
    by = "eyes of one patient together" if errors is Errors.PATIENTS else "each eye on its own"
    return Table(
        "Change of sight since before the operation",
        ("Time", "Read at both", "Compared", "Mean gain, logMAR", "95 % limits", "Missing"),
        tuple(_gain_line(at) for at in found.change),
        "Positive is better. Compared: both on a chart of one kind, with one correction, without gas or oil "
        f"in the eye. No number stands in for sight below the chart. Limits: Student's t, {by}.",
    )


def _gain_line(at: ChangeAt) -> Line:
    gain: Mean = at.gain
    value = str(gain.value) if isinstance(gain.value, Unknown) else f"{gain.value:+.2f}"
    band = str(NOT_ESTIMABLE)
    if not isinstance(gain.lower, Unknown) and not isinstance(gain.upper, Unknown):
        band = f"{gain.lower:+.2f} to {gain.upper:+.2f}"
    return Line(
        at.label,
        (
            whole(at.read_at_both),
            whole(len(at.compared.rows), at.compared.key),
            Cell(value),
            Cell(band),
            whole(len(at.missing.rows), at.missing.key),
        ),
    )


def _lines(found: AcuityReport) -> Table:
    return Table(
        "Lines gained and lost",
        ("Time", "Eyes", "Share of those compared", "95 % limits", "Patients"),
        tuple(
            Line(share.label, (*share_cells(share.proportion, share.key), whole(share.patients)))
            for at in found.change
            for share in at.shares
        ),
        "Three lines are 0.3 logMAR or 15 letters.",
    )


def _below(found: AcuityReport) -> Table:
    return Table(
        "Below the chart before or after: by order alone",
        ("Time", "Better", "Same", "Worse"),
        tuple(
            Line(at.label, tuple(whole(len(part.rows), part.key) for part in at.below_chart))
            for at in found.change
        ),
        "These eyes are in no mean and in no count of lines.",
    )


def _not_compared(found: AcuityReport) -> Table:
    return Table(
        "Read at both, and not compared",
        ("Time and reason", "Eyes"),
        tuple(_reasons(found)),
    )


def _reasons(found: AcuityReport) -> Iterator[Line]:
    for at in found.change:
        for part in at.not_compared:
            yield Line(part.label, (whole(len(part.rows), part.key),))
