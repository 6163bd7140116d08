"""Reads the invented facts of `fixtures/demo/`."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import time
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).resolve().parents[3] / "fixtures" / "demo"


@dataclass(frozen=True, slots=True)
class StaffFact:
    role: str
    username: str
    password: str
    given_name: str
    family_name: str


@dataclass(frozen=True, slots=True)
class ListFact:
    """A list that is held every week on these days; Monday is 0."""

    kind: str
    title: str
    weekdays: tuple[int, ...]
    starts: time
    ends: time
    places: int


@dataclass(frozen=True, slots=True)
class Names:
    family: tuple[str, ...]
    female: tuple[str, ...]
    male: tuple[str, ...]
    languages: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of operated eye: how many to make, what is done, and how it tends to go (logMAR)."""

    key: str
    eyes: int
    pairs: int
    indication: str
    procedures: tuple[str, ...]
    extra: tuple[str, ...]
    tamponades: dict[str, int]
    extents: tuple[str, ...]
    recurs: float
    before: float
    after: float
    ages: tuple[int, int]
    axial_length_mm: tuple[float, float]
    has_hole: bool = False
    staphyloma: bool = False
    leaves_after_a_year: float = 0.0

    @property
    def detaches(self) -> bool:
        return self.recurs > 0


@dataclass(frozen=True, slots=True)
class Clinic:
    site: dict[str, Any]
    staff: tuple[StaffFact, ...]
    lists: tuple[ListFact, ...]


@dataclass(frozen=True, slots=True)
class DemoFacts:
    clinic: Clinic
    names: Names
    kinds: tuple[Kind, ...]
    stories: tuple[dict[str, Any], ...]


def read_facts(folder: Path = FOLDER) -> DemoFacts:
    clinic, names = _read(folder / "clinic.toml"), _read(folder / "people.toml")
    return DemoFacts(
        clinic=Clinic(
            site=clinic["site"],
            staff=tuple(StaffFact(**row) for row in clinic["staff"]),
            lists=tuple(ListFact(**row) for row in clinic["list"]),
        ),
        names=Names(**names),
        kinds=tuple(Kind(**row) for row in _read(folder / "kinds.toml")["kind"]),
        stories=_read(folder / "stories.toml")["story"],
    )


def _read(path: Path) -> dict[str, Any]:
    with path.open("rb") as file:
        return {key: _frozen(value) for key, value in tomllib.load(file).items()}


def _frozen(value: Any) -> Any:
    """Lists as tuples, all the way down."""
    if isinstance(value, list):
        return tuple(_frozen(item) for item in value)
    if isinstance(value, dict):
        return {key: _frozen(item) for key, item in value.items()}
    return value
