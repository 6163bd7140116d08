"""Tables of an audit as words and numbers, ready to be shown on a page or printed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from followup.domain.survival.binomial import Proportion
from followup.domain.survival.kaplan_meier import Point
from followup.domain.survival.values import NOT_ESTIMABLE, Figure, Unknown
from followup.queries.reports.audit_counts import Count, Share

PERCENT = "\N{NO-BREAK SPACE}%"


@dataclass(frozen=True, slots=True)
class Cell:
    """`key` names the list of eyes behind it, "" where there is none."""

    text: str
    key: str = ""
    is_number: bool = False


@dataclass(frozen=True, slots=True)
class Line:
    label: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """`head` names the first column and then one a cell."""

    caption: str
    head: tuple[str, ...]
    lines: tuple[Line, ...]
    note: str = ""

    @property
    def columns(self) -> tuple[tuple[str, bool], ...]:
        """Each heading, and whether numbers stand under it."""
        cells = self.lines[0].cells if self.lines else ()
        return tuple(
            (name, bool(place) and place <= len(cells) and cells[place - 1].is_number)
            for place, name in enumerate(self.head)
        )


def percent(value: Figure) -> str:
    """To one decimal, or the words for what is unknown."""
    return str(value) if isinstance(value, Unknown) else f"{100 * value:.1f}{PERCENT}"


def limits(lower: Figure, upper: Figure) -> str:
    if isinstance(lower, Unknown) or isinstance(upper, Unknown):
        return str(NOT_ESTIMABLE)
    return f"{100 * lower:.1f} to {100 * upper:.1f}{PERCENT}"


def share_cells(found: Proportion, key: str = "") -> tuple[Cell, Cell, Cell]:
    """So many of so many, the share and its exact limits."""
    return (
        Cell(f"{found.events} of {found.total}", key),
        Cell(percent(found.share)),
        Cell(limits(found.lower, found.upper)),
    )


def shares_table(caption: str, first: str, shares: Iterable[Share], note: str = "") -> Table:
    lines = tuple(
        Line(share.label, (*share_cells(share.proportion, share.key), whole(share.patients)))
        for share in shares
    )
    return Table(caption, (first, "Eyes", "Share", "95 % limits", "Patients"), lines, note)


def counts_table(caption: str, first: str, counts: Iterable[Count], note: str = "") -> Table:
    lines = tuple(
        Line(count.label, (whole(count.eyes, count.key), whole(count.patients))) for count in counts
    )
    return Table(caption, (first, "Eyes", "Patients"), lines, note)


def whole(number: int, key: str = "") -> Cell:
    return Cell(str(number), key if number else "", is_number=True)


BEYOND = "beyond last follow-up"


def point_words(point: Point, *, nobody: bool = False) -> tuple[str, str]:
    """A curve at a time, and its limits, in words where there is no number."""
    if isinstance(point.survival, Unknown):
        return (str(point.survival) if nobody else BEYOND), ""
    if point.exact:
        exact = limits(point.exact.lower, point.exact.upper)
        return percent(point.survival), f"{exact} (no event yet: Clopper-Pearson of those at risk)"
    return percent(point.survival), limits(point.lower, point.upper)


def p_words(p: Figure) -> str:
    if isinstance(p, Unknown):
        return str(p)
    return "< 0.0001" if p < 0.0001 else f"{p:.4f}"
