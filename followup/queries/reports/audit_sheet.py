"""The rows under an audit as a sheet: codes instead of names, days instead of dates."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from typing import TypeAlias

from followup.domain.acuity.change import Reading
from followup.domain.words import Procedure
from followup.queries.cohort_row import CohortRow
from followup.queries.cohort_times import TIMES
from followup.queries.cohorts import Cohort
from followup.queries.reports.audit_strata import groups

SheetCell: TypeAlias = str | int | float | Decimal

_TIMES = ("before", *(f"{time.months}m" for time in TIMES))
HEADINGS = (
    "eye",
    "patient",
    "surgeon",
    "group",
    "indication",
    "procedures",
    "tamponade",
    "repeat",
    "extent",
    "sex",
    "side",
    "age",
    "axial_length_mm",
    "staphyloma",
    "only_eye",
    "retina_before",
    "lens_before",
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
    "hole_state",
    "hole_primary",
    "last_exam_day",
    "died_day",
    "oil_in_day",
    "oil_limit_day",
    "oil_out_day",
    *(f"seen_{name}" for name in _TIMES[1:]),
    *(f"logmar_{name}" for name in _TIMES),
    *(f"below_chart_{name}" for name in _TIMES),
    *(f"in_eye_{name}" for name in _TIMES),
)
"""`days` counts from the start of the clock; every `_day` from the index operation, which is day 0.

`group` is the letter of the group on the page; `in_eye` the gas or oil through which sight was read.
"""


def sheet_rows(cohort: Cohort) -> Iterator[tuple[SheetCell, ...]]:
    """The headings, then one row an eye in the order of the codes; an empty cell is not known or not so.

    Every cell is a code, a number or a word of the trade, so none is read as a formula.
    """
    yield HEADINGS
    letters = {row.code: part.key[-1].upper() for part in groups(cohort) for row in part.rows}
    for row in cohort.rows:
        yield _cells(row, letters.get(row.code, ""))


def told_of(row: CohortRow) -> Iterator[tuple[str, SheetCell]]:
    """Each heading with the cell of this eye, told without its group."""
    return zip(HEADINGS, _cells(row, ""), strict=True)


def _cells(row: CohortRow, group: str) -> tuple[SheetCell, ...]:
    return (*_told(row, group), *_outcome(row), *_sight(row))


def _told(row: CohortRow, group: str) -> tuple[SheetCell, ...]:
    traits = row.traits
    done = [procedure.value for procedure in Procedure if procedure in row.procedures]
    return (
        row.code,
        row.patient_code,
        row.surgeon_code,
        group,
        row.indication.value,
        " ".join(done),
        row.tamponade.value,
        row.repeat.value,
        row.extent.value,
        traits.sex.value,
        traits.side.value,
        _or_empty(traits.age),
        _or_empty(traits.axial_length_mm),
        traits.staphyloma.value,
        _yes_no(traits.only_eye),
        traits.macula.value,
        traits.lens.value,
    )


def _outcome(row: CohortRow) -> tuple[SheetCell, ...]:
    def day(when: date | None) -> SheetCell:
        return "" if when is None else (when - row.index_date).days

    oil = row.oil
    return (
        row.ending.value,
        _yes_no(row.in_curve),
        day(row.start),
        _or_empty(row.days),
        int(row.recurred) if row.in_curve else "",
        day(row.last_well),
        day(row.found_on),
        row.final.value,
        day(row.final_on),
        _yes_no(row.primary_success),
        row.hole.value,
        _yes_no(row.hole_primary),
        day(row.last_exam),
        day(row.died_on),
        *(day(when) for when in ((oil.placed_on, oil.limit, oil.out_on) if oil else (None, None, None))),
    )


def _sight(row: CohortRow) -> tuple[SheetCell, ...]:
    return (
        *(_yes_no(seen) for seen in row.seen),
        *(_logmar(reading) for reading in row.sight),
        *(_below(reading) for reading in row.sight),
        *(reading.tamponade_seen if reading else "" for reading in row.sight),
    )


def _logmar(reading: Reading | None) -> SheetCell:
    logmar = reading.acuity.logmar if reading else None
    return "" if logmar is None else logmar


def _below(reading: Reading | None) -> str:
    category = reading.acuity.category if reading else None
    return category.value if category else ""


def _or_empty(number: float | None) -> SheetCell:
    return "" if number is None else number


def _yes_no(answer: bool | None) -> str:
    return "" if answer is None else "yes" if answer else "no"
