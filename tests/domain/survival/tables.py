"""Reads the published data and the reference results of fixtures/survival."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from functools import cache
from math import nan
from pathlib import Path
from typing import Any

import numpy as np

from followup.domain.survival.values import Unknown

FIXTURES = Path(__file__).parents[3] / "fixtures" / "survival"

# Which rows had the event, and in which column the time stands, by data set.
TIME_AND_EVENT: dict[str, tuple[str, Callable[[dict[str, str]], int]]] = {
    "aml": ("time", lambda row: int(row["status"])),
    "gehan_6mp": ("time", lambda row: int(row["event"])),
    "glioma": ("time", lambda row: int(row["event"])),
    "kidney_catheter_km": ("time", lambda row: int(row["delta"])),
    "larynx": ("time", lambda row: int(row["delta"])),
    "lung": ("time", lambda row: int(row["status"] == "2")),
    "veteran": ("time", lambda row: int(row["status"])),
    "mgus2": ("futime", lambda row: int(row["death"])),
    "retinopathy": ("futime", lambda row: int(row["status"])),
    "pbc312": ("time", lambda row: int(row["status"] == "2")),
}


@cache
def expected(name: str) -> Any:
    return json.loads((FIXTURES / "expected" / f"{name}.json").read_text(encoding="utf-8"))


@cache
def read_csv(name: str) -> tuple[dict[str, str], ...]:
    with (FIXTURES / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return tuple(csv.DictReader(file))


def rows_of(name: str, **only: str) -> list[dict[str, str]]:
    return [row for row in read_csv(f"data/{name}") if all(row[key] == value for key, value in only.items())]


def times_and_events(name: str, rows: list[dict[str, str]]) -> tuple[list[float], list[int]]:
    column, event = TIME_AND_EVENT[name]
    return [float(row[column]) for row in rows], [event(row) for row in rows]


def stratum(label: str) -> dict[str, str]:
    """'sex=1' as a filter; 'overall' as none."""
    return {} if label == "overall" else dict([label.split("=", 1)])


def numbers(values: Any) -> np.ndarray:
    """A list of the reference files as an array, null as nan."""
    listed = values if isinstance(values, list) else [values]
    return np.array([nan if value is None else value for value in listed], dtype=float)


def number(value: Any) -> float:
    """A figure of ours as a float, unknown ones as nan."""
    return nan if isinstance(value, Unknown) else float(value)


def assert_same(found: Any, wanted: Any, tolerance: float, what: str = "") -> None:
    np.testing.assert_allclose(found, numbers(wanted), rtol=tolerance, atol=tolerance, err_msg=what)
