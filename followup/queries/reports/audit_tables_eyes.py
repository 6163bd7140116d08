"""Tables of what the eyes were like, how many are attached, and of their oil."""

from __future__ import annotations

from collections.abc import Iterator

from followup.domain.survival.values import NOT_ESTIMABLE, Unknown
from followup.queries.cohort_choice import DAYS_A_MONTH
from followup.queries.reports.audit_anatomy import Anatomy
from followup.queries.reports.audit_baseline import Baseline, Measured, Sorted
from followup.queries.reports.audit_oil import OilMark, OilReport
from followup.queries.reports.audit_tables import (
    Cell,
    Line,
    Table,
    point_words,
    share_cells,
    shares_table,
    whole,
)


def baseline_table(found: Baseline) -> Table:
    lines = [_measured(measured) for measured in found.measured]
    lines += [line for trait in found.sorted for line in _sorted(trait)]
    return Table(
        "The eyes before the index operation",
        ("Trait", "Eyes", "Median or share", "95 % limits", "Missing"),
        tuple(lines),
        "Shares are of the eyes with an answer on record; sight before the operation stands with the "
        "sight after it.",
    )


def _measured(found: Measured) -> Line:
    spread = found.spread
    if isinstance(spread.median, Unknown):
        words = str(NOT_ESTIMABLE)
    else:
        words = (
            f"Median {spread.median:g} {found.unit}, quartiles {spread.lower_quartile:g} to "
            f"{spread.upper_quartile:g}, range {spread.least:g} to {spread.most:g}"
        )
    missing = whole(len(found.missing.rows), found.missing.key)
    eyes = Cell(str(len(found.known.rows)), found.known.key)
    return Line(f"{found.label}, {found.unit}", (eyes, Cell(words), Cell(""), missing))


def _sorted(found: Sorted) -> Iterator[Line]:
    missing = whole(len(found.missing.rows), found.missing.key)
    if not found.parts:
        none = (Cell("0 of 0"), Cell(str(NOT_ESTIMABLE)), Cell(str(NOT_ESTIMABLE)))
        yield Line(found.label, (*none, missing))
    for share in found.shares:
        yield Line(share.label, (*share_cells(share.proportion, share.key), missing))


def anatomy_tables(found: Anatomy) -> tuple[Table, ...]:
    """The hole has its table only where an eye has one."""
    seen = "Retina when last seen"
    retina = (
        shares_table("Primary success: attached after one operation", seen, found.primary),
        shares_table("Final state: whatever operations it took", seen, found.final),
    )
    if not found.hole_not_seen and not found.hole[0].proportion.total:
        return retina
    note = f"Never seen after the operation: {found.hole_not_seen}; they are in no share."
    return (*retina, shares_table("Macular hole", "Hole", found.hole, note))


def oil_tables(found: OilReport) -> tuple[Table, ...]:
    return (_removal(found), _still_in(found), _after(found), _free_after(found))


def _removal(found: OilReport) -> Table:
    note = (
        f"Of {found.due} eyes whose removal window had closed by the data lock with the owner alive and no "
        "decision to keep the oil in force that day; an eye not seen since counts as not removed. The window "
        "is the one its pathway planned, else three months."
    )
    counts = [
        Line(count.label, (Cell(str(count.eyes), count.key), Cell(""), Cell(""), whole(count.patients)))
        for count in (found.filled, found.removed, found.kept)
    ]
    share = found.in_time
    in_time = Line(share.label, (*share_cells(share.proportion, share.key), whole(share.patients)))
    head = ("Oil", "Eyes", "Share", "95 % limits", "Patients")
    return Table("Oil: filled and taken out", head, (*counts, in_time), note)


def _still_in(found: OilReport) -> Table:
    median = found.median_days
    words = str(median.time)
    if not isinstance(median.time, Unknown):
        words = f"{median.time / DAYS_A_MONTH:.1f} months ({median.time:g} days)"
    return Table(
        "Time in the eye: oil not yet taken out (Kaplan-Meier)",
        ("Months since filling", "At risk", "Still in", "95 % limits"),
        tuple(_mark(mark) for mark in found.still_in),
        f"Median time in the eye: {words}. An eye whose oil was not taken out counts until last looked at.",
    )


def _after(found: OilReport) -> Table:
    return shares_table(
        "Redetachment after removal",
        "Of the eyes whose oil was taken out",
        found.after,
        "Whatever time they were followed after it; the curve below allows for that.",
    )


def _free_after(found: OilReport) -> Table:
    return Table(
        "Free of redetachment after removal (Kaplan-Meier)",
        ("Months since removal", "At risk", "Free", "95 % limits"),
        tuple(_mark(mark) for mark in found.free_after),
        "Eyes that were detached by the removal are not in this curve: they stand in the table above.",
    )


def _mark(mark: OilMark) -> Line:
    free, band = point_words(mark.point)
    return Line(str(mark.months), (whole(mark.point.at_risk), Cell(free), Cell(band)))
