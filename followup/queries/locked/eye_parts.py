"""A row of a cohort as named parts in words, so that two states of one eye can be laid side by side.

The names are the headings of the sheet with the rows. Every day is a number of days since the index
operation, so that no date shows to those who know the eye by its code alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from followup.queries.cohort_row import CohortRow
from followup.queries.cohort_times import LABELS
from followup.queries.reports.audit_sheet import told_of

Part = tuple[str, str]


def parts_of(row: CohortRow, since: CohortRow, *, coded: bool) -> dict[str, str]:
    """`since`: the row whose index operation is day 0; coded: whether the codes of people say anything."""
    told = dict(_words(row))
    if not coded:
        for name in ("patient", "surgeon"):
            del told[name]
    return dict(_first(row, since)) | told | dict(_rest(row))


def _words(row: CohortRow) -> Iterator[Part]:
    for name, cell in told_of(row):
        if name not in ("eye", "group"):
            yield name.replace("_", " "), str(cell)


def _first(row: CohortRow, since: CohortRow) -> Iterator[Part]:
    yield "clinic", row.site
    yield "index operation, day", _days(row.index_date, since.index_date)
    yield "index operation, precision of its date", row.date_precision.label


def _rest(row: CohortRow) -> Iterator[Part]:
    """What the sheet does not hold."""
    for label, reading in zip(LABELS, row.sight, strict=True):
        if reading:
            how = f"{reading.correction}, {reading.acuity.notation.value}"
            yield f"acuity, {label.lower()}: correction and notation", how.replace("_", " ")
    oil = row.oil
    if oil:
        yield "oil seen until day", _days(oil.seen_until, row.index_date)
        yield "oil kept by a decision", "yes" if oil.kept else ""
        yield "after the oil", oil.after.label if oil.after else ""
        yield "days after the oil", "" if oil.after_days is None else str(oil.after_days)


def _days(day: date, since: date) -> str:
    return str((day - since).days)
