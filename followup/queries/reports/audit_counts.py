"""Counted eyes: every number of an audit keeps the rows behind it, so that it can be opened."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from followup.domain.survival.binomial import Proportion, clopper_pearson
from followup.queries.cohort_row import CohortRow

Rows = Sequence[CohortRow]


@dataclass(frozen=True, slots=True)
class EyeList:
    """Some eyes of a cohort under a name. `key` stands in the address of their list."""

    key: str
    label: str
    rows: Rows

    @property
    def count(self) -> Count:
        return Count(self.label, len(self.rows), patients_of(self.rows), self.key)

    def among(self, total: int) -> Share:
        """These eyes as a share of so many, with its exact interval."""
        proportion = clopper_pearson(len(self.rows), total)
        return Share(self.label, proportion, patients_of(self.rows), self.key)


@dataclass(frozen=True, slots=True)
class Count:
    """So many eyes of so many patients."""

    label: str
    eyes: int
    patients: int
    key: str = ""


@dataclass(frozen=True, slots=True)
class Share:
    """Eyes with something, of those asked about; `patients` are those of the first."""

    label: str
    proportion: Proportion
    patients: int = 0
    key: str = ""


def patients_of(rows: Iterable[CohortRow]) -> int:
    return len({row.patient_code for row in rows})
