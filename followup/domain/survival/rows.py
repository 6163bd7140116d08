"""The rows under every estimator: times, events, late entries and patients, checked once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from followup.domain.errors import BadValue
from followup.domain.survival.values import Bools, Ints, Times

SWAPPED = "Are day and month swapped in one of its two dates?"


@dataclass(frozen=True, eq=False)
class Rows:
    """Checked input: one row an eye (or one stretch of an eye's follow-up).

    time: exit, days; event: found at exit; entry: late entries in days or None; cluster: position of each
    row's patient in `labels`, or None; left_out: rows whose entry is their exit, which hold no time at risk.
    """

    time: Times
    event: Bools
    entry: Times | None
    cluster: Ints | None
    labels: NDArray[Any] | None
    left_out: int = 0

    def __len__(self) -> int:
        return len(self.time)

    @property
    def clusters(self) -> int:
        """Patients behind the rows; without `cluster` each row counts as its own."""
        return len(self) if self.labels is None else len(self.labels)


def read_rows(
    time: ArrayLike, event: ArrayLike, *, entry: ArrayLike | None = None, cluster: ArrayLike | None = None
) -> Rows:
    """Check and convert the input of an estimator.

    Raises BadValue, naming place and value, for a negative, missing or infinite time, an exit before its
    entry, an event other than 0 or 1, and lists of unequal length.
    """
    times = read_times(time, "time")
    events = read_events(event)
    same_length(times, "event", events)
    entries = None if entry is None else read_times(entry, "entry")
    patients = None if cluster is None else np.asarray(cluster)
    if patients is not None:
        same_length(times, "cluster", patients)
    if entries is None:
        return _grouped(times, events, None, patients, 0)
    same_length(times, "entry", entries)
    _refuse_exit_before_entry(times, entries)
    kept = (entries < times) | (times == 0)
    if kept.all():
        return _grouped(times, events, entries, patients, 0)
    left_out = int(len(kept) - kept.sum())
    return _grouped(
        times[kept], events[kept], entries[kept], None if patients is None else patients[kept], left_out
    )


def read_times(values: ArrayLike, name: str) -> Times:
    """Times as one array, whole days as integers. Raises BadValue naming `name` and the place."""
    times = _numbers(values, name)
    if times.dtype.kind in "iu":
        _refuse(times < 0, times, name, f"a time cannot be negative. {SWAPPED}")
        return times.astype(np.int64, copy=False)
    floats = times.astype(np.float64, copy=False)
    _refuse(
        ~np.isfinite(floats),
        floats,
        name,
        "not a time. Complete its dates or leave the row out.",
    )
    _refuse(floats < 0, floats, name, f"a time cannot be negative. {SWAPPED}")
    with np.errstate(invalid="ignore"):
        whole = floats.astype(np.int64)
    return whole if bool((whole == floats).all()) else floats


def read_events(values: ArrayLike) -> Bools:
    """Events as true or false. Raises BadValue for other codes than 0 and 1: a coding is never guessed."""
    events = _numbers(values, "event")
    if events.dtype.kind == "b":
        return events
    _refuse((events != 0) & (events != 1), events, "event", "expected 0 (not seen) or 1 (event found).")
    return events.astype(np.bool_)


def same_length(times: Times, name: str, other: NDArray[Any]) -> None:
    """Raises BadValue when `other` does not have one value a row."""
    if other.shape != times.shape:
        raise BadValue(
            f"There are {len(times)} times but {other.size} values of {name}: give one for each row.",
            field=name,
        )


def _numbers(values: ArrayLike, name: str) -> NDArray[Any]:
    array = np.asarray(values)
    if array.size == 0:
        return np.zeros(0, dtype=np.int64)
    if array.ndim != 1:
        raise BadValue(f"{name} must be one plain list of numbers, one a row.", field=name)
    if array.dtype.kind in "biuf":
        return array
    try:
        return array.astype(np.float64)
    except (TypeError, ValueError) as error:
        raise BadValue(f"{name} holds something that is not a number: {error}.", field=name) from error


def _refuse(bad: Bools, values: NDArray[Any], name: str, why: str) -> None:
    if bad.any():
        place = int(np.argmax(bad))
        raise BadValue(f"{name}[{place}] is {values[place]}: {why}", field=name)


def _refuse_exit_before_entry(times: Times, entries: Times) -> None:
    bad = times < entries
    if bad.any():
        place = int(np.argmax(bad))
        raise BadValue(
            f"time[{place}] is {times[place]}, before its entry at {entries[place]}. {SWAPPED}", field="time"
        )


def _grouped(
    times: Times, events: Bools, entries: Times | None, patients: NDArray[Any] | None, left_out: int
) -> Rows:
    if patients is None:
        return Rows(times, events, entries, None, None, left_out)
    labels, codes = np.unique(patients, return_inverse=True)
    return Rows(times, events, entries, codes.astype(np.int64), labels, left_out)
