"""The rows under an audit as a sheet: codes instead of names, days instead of dates."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from followup.queries.cohorts import Cohort, CohortRow

HEADINGS = (
    "eye",
    "patient",
    "surgeon",
    "indication",
    "tamponade",
    "ending",
    "in_curve",
    "clock_starts_day",
    "days",
    "event",
    "last_well_day",
    "found_day",
    "final_state",
    "final_day",
    "primary_success",
    "last_exam_day",
    "died_day",
)
"""`days` counts from the start of the clock; every `_day` from the index operation, which is day 0."""


def sheet_rows(cohort: Cohort) -> Iterator[tuple[str, ...]]:
    """The headings, then one row an eye in the order of the codes; an empty cell is not known or not so.

    Every cell is a code, a number from 0 up or a word of the trade, so none is read as a formula.
    """
    yield HEADINGS
    yield from (_cells(row) for row in cohort.rows)


def _cells(row: CohortRow) -> tuple[str, ...]:
    def day(when: date | None) -> str:
        return "" if when is None else str((when - row.index_date).days)

    return (
        row.code,
        row.patient_code,
        row.surgeon_code,
        row.indication.value,
        row.tamponade.value,
        row.ending.value,
        _yes_no(row.in_curve),
        day(row.start),
        "" if row.days is None else str(row.days),
        str(int(row.recurred)) if row.in_curve else "",
        day(row.last_well),
        day(row.found_on),
        row.final.value,
        day(row.final_on),
        "" if row.primary_success is None else _yes_no(row.primary_success),
        day(row.last_exam),
        day(row.died_on),
    )


def _yes_no(answer: bool) -> str:
    return "yes" if answer else "no"
