"""How a locked audit would come out today: which figures differ, and which eyes came, went or changed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields

from followup.queries.cohort_row import CohortRow
from followup.queries.cohorts import Cohort
from followup.queries.locked.figures import Figures

_OF_THE_ROW = ("eye_id", "code", "patient_code", "surgeon_code")
"""Not compared: the codes stand for who it is, and follow the secret key."""


@dataclass(frozen=True, slots=True)
class FigureDiffers:
    """`then` or `today` is "" where there was, or is, no such figure."""

    name: str
    then: str
    today: str


@dataclass(frozen=True, slots=True)
class EyeDiffers:
    """An eye and what of it is told otherwise today."""

    eye_id: int
    code: str
    how: str
    """added, gone or changed"""
    what: tuple[str, ...] = ()
    """The parts of its row that differ."""


def figures_that_differ(then: Figures, today: Figures) -> list[FigureDiffers]:
    """In the order of the page."""
    names = dict.fromkeys([*then, *today])
    found = (FigureDiffers(name, then.get(name, ""), today.get(name, "")) for name in names)
    return [figure for figure in found if figure.then != figure.today]


def eyes_that_differ(then: Cohort, today: Cohort) -> list[EyeDiffers]:
    """Those gone first, then those added, then those changed; each in the order of codes."""
    before, after = _by_eye(then), _by_eye(today)
    gone = [EyeDiffers(row.eye_id, row.code, "gone") for eye, row in before.items() if eye not in after]
    added = [EyeDiffers(row.eye_id, row.code, "added") for eye, row in after.items() if eye not in before]
    changed = [
        EyeDiffers(row.eye_id, row.code, "changed", what)
        for eye, row in before.items()
        if eye in after and (what := tuple(_parts_that_differ(row, after[eye])))
    ]
    return [*gone, *added, *changed]


def _by_eye(cohort: Cohort) -> Mapping[int, CohortRow]:
    return {row.eye_id: row for row in cohort.rows}


def _parts_that_differ(then: CohortRow, today: CohortRow) -> Iterator[str]:
    for field in fields(CohortRow):
        if field.name not in _OF_THE_ROW and getattr(then, field.name) != getattr(today, field.name):
            yield field.name.replace("_", " ")
