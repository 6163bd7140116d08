"""How a locked audit would come out today: which figures differ, and which eyes came, went or changed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from followup.domain.words import Side
from followup.queries.cohort_row import CohortRow
from followup.queries.cohorts import Cohort
from followup.queries.locked.eye_parts import parts_of
from followup.queries.locked.figures import Figures


@dataclass(frozen=True, slots=True)
class Differs:
    """A figure, or a part of what is told of an eye. "" where there was, or is, none."""

    name: str
    then: str
    today: str


@dataclass(frozen=True, slots=True)
class EyeDiffers:
    """An eye and what of it is told otherwise today."""

    eye_id: int
    code: str
    side: Side
    how: str
    """added, gone or changed"""
    what: tuple[Differs, ...] = ()


def figures_that_differ(then: Figures, today: Figures) -> list[Differs]:
    """In the order of the page."""
    return list(_differing(then, today))


def eyes_that_differ(then: Cohort, today: Cohort) -> list[EyeDiffers]:
    """Those gone first, then those added, then those changed; each in the order of codes."""
    before, after = _by_eye(then), _by_eye(today)
    gone = [_differs(row, "gone") for eye, row in before.items() if eye not in after]
    added = [_differs(row, "added") for eye, row in after.items() if eye not in before]
    changed = [
        _differs(after[eye], "changed", what)
        for eye, row in before.items()
        if eye in after and (what := tuple(_parts_that_differ(row, after[eye])))
    ]
    return [*gone, *added, *changed]


def _differs(row: CohortRow, how: str, what: tuple[Differs, ...] = ()) -> EyeDiffers:
    return EyeDiffers(row.eye_id, row.code, row.traits.side, how, what)


def _by_eye(cohort: Cohort) -> Mapping[int, CohortRow]:
    return {row.eye_id: row for row in cohort.rows}


def _parts_that_differ(then: CohortRow, today: CohortRow) -> Iterator[Differs]:
    if then == today:
        return
    # Codes once followed the secret key of the installation: of a renewed one, the old ones say nothing.
    coded = then.code == today.code
    yield from _differing(parts_of(then, then, coded=coded), parts_of(today, then, coded=coded))


def _differing(then: Mapping[str, str], today: Mapping[str, str]) -> Iterator[Differs]:
    for name in dict.fromkeys([*then, *today]):
        if then.get(name, "") != today.get(name, ""):
            yield Differs(name, then.get(name, ""), today.get(name, ""))
