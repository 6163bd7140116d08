"""What the eyes of a cohort were like before the index operation: each line with its n and n missing."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from statistics import quantiles

from followup.domain.survival.values import NOT_ESTIMABLE, Figure
from followup.domain.words import Lens, Retina, Term
from followup.queries.cohort_row import CohortRow
from followup.queries.reports.audit_counts import EyeList, Rows, Share


@dataclass(frozen=True, slots=True)
class Spread:
    """A measure over the eyes that have it: median, quartiles (of linear interpolation), least and most."""

    median: Figure
    lower_quartile: Figure
    upper_quartile: Figure
    least: Figure
    most: Figure


@dataclass(frozen=True, slots=True)
class Measured:
    label: str
    unit: str
    known: EyeList
    missing: EyeList
    spread: Spread


@dataclass(frozen=True, slots=True)
class Sorted:
    """Eyes by a trait, in the order of its words; shares are of those known."""

    label: str
    known: int
    parts: tuple[EyeList, ...]
    missing: EyeList

    @property
    def shares(self) -> tuple[Share, ...]:
        return tuple(part.among(self.known) for part in self.parts)


@dataclass(frozen=True, slots=True)
class Baseline:
    measured: tuple[Measured, ...]
    sorted: tuple[Sorted, ...]


_Trait = Callable[[CohortRow], Term]
_TRAITS: tuple[tuple[str, str, _Trait], ...] = (
    ("sex", "Sex", lambda row: row.traits.sex),
    ("side", "Side", lambda row: row.traits.side),
    ("indication", "Indication", lambda row: row.indication),
    ("repeat", "First or repeat", lambda row: row.repeat),
    ("extent", "Extent of detachment", lambda row: row.extent),
    ("macula", "Retina before the operation", lambda row: row.traits.macula),
    ("staphyloma", "Staphyloma", lambda row: row.traits.staphyloma),
    ("lens", "Lens before the operation", lambda row: row.traits.lens),
    ("tamponade", "Tamponade left in the eye", lambda row: row.tamponade),
)
_MEASURES: tuple[tuple[str, str, str, Callable[[CohortRow], float | None]], ...] = (
    ("age", "Age at the operation", "years", lambda row: row.traits.age),
    ("axial_length", "Axial length", "mm", lambda row: row.traits.axial_length_mm),
)
_NOT_KNOWN = frozenset({"unknown", Retina.NOT_EXAMINED.value, Lens.NOT_EXAMINED.value})


_NOBODY = Spread(NOT_ESTIMABLE, NOT_ESTIMABLE, NOT_ESTIMABLE, NOT_ESTIMABLE, NOT_ESTIMABLE)


def baseline(rows: Rows) -> Baseline:
    return Baseline(
        measured=tuple(_measured(rows, *measure) for measure in _MEASURES),
        sorted=tuple(_sorted(rows, *trait) for trait in _TRAITS),
    )


def lists(rows: Rows) -> Iterator[EyeList]:
    found = baseline(rows)
    for measured in found.measured:
        yield from (measured.known, measured.missing)
    for trait in found.sorted:
        yield from (*trait.parts, trait.missing)


def _measured(
    rows: Rows, key: str, label: str, unit: str, value: Callable[[CohortRow], float | None]
) -> Measured:
    known = [(row, number) for row in rows if (number := value(row)) is not None]
    return Measured(
        label=label,
        unit=unit,
        known=EyeList(f"base_{key}_known", f"{label} on record", [row for row, _ in known]),
        missing=EyeList(
            f"base_{key}_missing", f"{label} not on record", [row for row in rows if value(row) is None]
        ),
        spread=_spread([number for _, number in known]),
    )


def _spread(numbers: Sequence[float]) -> Spread:
    if not numbers:
        return _NOBODY
    lower, median, upper = quantiles([*numbers, *numbers][: max(2, len(numbers))], method="inclusive")
    return Spread(median, lower, upper, min(numbers), max(numbers))


def _sorted(rows: Rows, key: str, label: str, trait: _Trait) -> Sorted:
    parts: defaultdict[Term, list[CohortRow]] = defaultdict(list)
    for row in rows:
        parts[trait(row)].append(row)
    missing = [row for term, some in parts.items() if term.value in _NOT_KNOWN for row in some]
    known = {term: some for term, some in parts.items() if term.value not in _NOT_KNOWN}
    in_order = sorted(known, key=lambda term: type(term).codes().index(term.value))
    return Sorted(
        label=label,
        known=len(rows) - len(missing),
        parts=tuple(
            EyeList(f"base_{key}_{term.value}", f"{label}: {term.label}", known[term]) for term in in_order
        ),
        missing=EyeList(f"base_{key}_missing", f"{label} not recorded", missing),
    )
