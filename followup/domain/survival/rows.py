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

    time: exit, days; event: found at exit; entry: late entries in days or None; cluster: place of each row's
    patient in `labels`, or None; kept: which of the rows given hold time at risk (their entry is not their
    exit), or None when all do.
    """

    time: Times
    event: Bools
    entry: Times | None
    cluster: Ints | None
    labels: NDArray[Any] | None
    kept: Bools | None

    def __len__(self) -> int:
        return len(self.time)

    def only(self, part: slice | Ints) -> Rows:
        """Some of the rows, without their patients."""
        entry = None if self.entry is None else self.entry[part]
        return Rows(self.time[part], self.event[part], entry, None, None, None)

    @property
    def left_out(self) -> int:
        """Rows given that hold no time at risk."""
        return 0 if self.kept is None else int(np.count_nonzero(~self.kept))

    def matching(self, values: NDArray[Any]) -> NDArray[Any]:
        """Those of one value a row given that belong to the rows kept."""
        return values if self.kept is None else values[self.kept]

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
        return _with_patients(times, events, None, patients, None)
    same_length(times, "entry", entries)
    _refuse_exit_before_entry(times, entries)
    kept = (entries < times) | (times == 0)
    if patients is not None:
        patients = patients[kept]
    return _with_patients(times[kept], events[kept], entries[kept], patients, kept)


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


def read_codes(values: ArrayLike, highest: int) -> Ints:
    """Causes as whole numbers from 0 (none) to `highest`. Raises BadValue for any other."""
    codes = _numbers(values, "cause")
    known = (codes >= 0) & (codes <= highest)
    if codes.dtype.kind == "f":
        known &= codes == np.floor(codes)
    _refuse(~known, codes, "cause", f"expected 0 (no end seen) or a cause from 1 to {highest}.")
    return codes.astype(np.int64)


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
        raise BadValue(f"{name} holds something that is not a number.", field=name) from error


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


def _with_patients(
    times: Times, events: Bools, entries: Times | None, patients: NDArray[Any] | None, kept: Bools | None
) -> Rows:
    if patients is None:
        return Rows(times, events, entries, None, None, kept)
    labels, codes = codes_of(patients)
    return Rows(times, events, entries, codes, labels, kept)


def codes_of(values: ArrayLike) -> tuple[NDArray[Any], Ints]:
    """Distinct labels in sorted order and the place of each value among them."""
    array = np.asarray(values)
    if array.dtype.kind in "iu" and array.size and array.min() >= 0 and array.max() <= 4 * array.size:
        present = np.bincount(array) > 0
        return np.flatnonzero(present).astype(array.dtype), (np.cumsum(present) - 1)[array]
    labels, codes = np.unique(array, return_inverse=True)
    return labels, codes.astype(np.int64)
