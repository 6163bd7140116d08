"""How fast the estimators are beside bare counting in NumPy and beside other libraries.

Run with `python -m tests.benchmarks.survival [largest number of rows]`. Every ratio is to the floor named in
its line, timed in the same run on the same rows; times are the least of several runs. Aim at a million rows:
at most 1.5 times the floor, at least 5 times faster than SciPy, lifelines and statsmodels.
"""

from __future__ import annotations

import sys
import time as clock
import warnings
from collections.abc import Callable
from typing import Any

import numpy as np
from lifelines import AalenJohansenFitter, KaplanMeierFitter
from lifelines.statistics import logrank_test
from scipy import stats
from statsmodels.duration.survfunc import CumIncidenceRight, SurvfuncRight, survdiff

from followup.domain.survival.aalen_johansen import aalen_johansen
from followup.domain.survival.kaplan_meier import kaplan_meier
from followup.domain.survival.log_rank import log_rank

SIZES = (10_000, 100_000, 1_000_000)
RUNS = 7
SLOW = 1.0  # seconds after which one run is enough
Rows = dict[str, np.ndarray]


def rows_of(size: int) -> Rows:
    """Exponential events (900 days), uniform censoring (30 to 1500 days), rounded up to whole days."""
    random = np.random.default_rng(20240501 + size)
    event_at, last_seen = random.exponential(900, size), random.uniform(30, 1500, size)
    event = event_at <= last_seen
    return {
        "time": np.ceil(np.minimum(event_at, last_seen)).astype(np.int64),
        "event": event.astype(np.int64),
        "group": random.integers(0, 2, size),
        "cause": np.where(event, random.integers(1, 3, size), 0),
        "patient": random.integers(0, size // 2, size),
    }


def floor_curve(rows: Rows) -> Any:
    """Count by day, multiply, Greenwood and log-log limits: no checks, no result object."""
    time, event = rows["time"], rows["event"]
    days = int(time.max()) + 1
    leaving, seen = np.bincount(time, minlength=days), np.bincount(time[event == 1], minlength=days)
    kept = leaving > 0
    n, d = leaving[::-1].cumsum()[::-1][kept].astype(float), seen[kept].astype(float)
    with np.errstate(all="ignore"):
        survival = np.cumprod(1 - d / n)
        spread = np.exp(1.96 * np.sqrt(np.cumsum(d / (n * (n - d)))) / np.log(survival))
        return survival, survival ** (1 / spread), survival**spread


def floor_log_rank(rows: Rows) -> Any:
    """Count by day and group, hypergeometric variance."""
    time, event, second = rows["time"], rows["event"] == 1, rows["group"] == 1
    days = int(time.max()) + 1

    def remaining(values: np.ndarray) -> np.ndarray:
        return np.bincount(values, minlength=days)[::-1].cumsum()[::-1].astype(float)

    n, n1 = remaining(time), remaining(time[second])
    d, d1 = np.bincount(time[event], minlength=days), np.bincount(time[event & second], minlength=days)
    with np.errstate(all="ignore"):
        share = n1 / n
        variance = np.nansum(np.where(n > 1, d * share * (1 - share) * (n - d) / (n - 1), 0))
        return (d1.sum() - np.nansum(d * share)) ** 2 / variance


def floor_incidence(rows: Rows) -> Any:
    """Count by day and cause; incidence without its standard error."""
    time, cause = rows["time"], rows["cause"]
    days = int(time.max()) + 1
    n = np.bincount(time, minlength=days)[::-1].cumsum()[::-1].astype(float)
    ends = [np.bincount(time[cause == k], minlength=days) for k in (1, 2)]
    with np.errstate(all="ignore"):
        free = np.cumprod(1 - (ends[0] + ends[1]) / n)
        return [np.cumsum(np.concatenate([[1.0], free[:-1]]) * d / n) for d in ends]


def censored(rows: Rows, chosen: np.ndarray | slice = slice(None)) -> stats.CensoredData:
    return stats.CensoredData.right_censored(rows["time"][chosen], rows["event"][chosen] == 0)


Task = Callable[[Rows], Any]
SUBJECTS: dict[str, tuple[tuple[str, Task], Task, dict[str, Task]]] = {
    "curve": (
        ("bare NumPy counting", floor_curve),
        lambda r: kaplan_meier(r["time"], r["event"]),
        {
            "SciPy": lambda r: stats.ecdf(censored(r)).sf.confidence_interval(method="log-log"),
            "lifelines": lambda r: KaplanMeierFitter().fit(r["time"], r["event"]),
            "statsmodels": lambda r: SurvfuncRight(r["time"], r["event"]),
        },
    ),
    "curve by patient": (
        ("sorting rows by patient and day", lambda r: np.lexsort((r["time"], r["patient"]))),
        lambda r: kaplan_meier(r["time"], r["event"], cluster=r["patient"]),
        {},
    ),
    "log-rank": (
        ("bare NumPy counting", floor_log_rank),
        lambda r: log_rank(r["time"], r["event"], r["group"]),
        {
            "SciPy": lambda r: stats.logrank(*(censored(r, r["group"] == g) for g in (0, 1))),
            "lifelines": lambda r: logrank_test(
                *(r["time"][r["group"] == g] for g in (0, 1)), *(r["event"][r["group"] == g] for g in (0, 1))
            ),
            "statsmodels": lambda r: survdiff(r["time"], r["event"], r["group"]),
        },
    ),
    "cumulative incidence": (
        ("bare NumPy counting", floor_incidence),
        lambda r: aalen_johansen(r["time"], r["cause"]),
        {
            "lifelines": lambda r: AalenJohansenFitter(calculate_variance=False, seed=1).fit(
                r["time"], r["cause"], event_of_interest=1
            ),
            "statsmodels": lambda r: CumIncidenceRight(r["time"], r["cause"]),
        },
    ),
}


def least(task: Task, rows: Rows) -> float:
    """Least seconds of several runs."""
    best = float("inf")
    for _ in range(RUNS):
        started = clock.perf_counter()
        task(rows)
        taken = clock.perf_counter() - started
        best = min(best, taken)
        if taken > SLOW:
            break
    return best


def main(largest: int) -> None:
    warnings.simplefilter("ignore")
    print(f"{'rows':>9}  {'subject':22}{'who':14}{'ms':>10}  ratio to the floor")
    for size in (size for size in SIZES if size <= largest):
        rows = rows_of(size)
        for subject, ((floor_name, floor), ours, others) in SUBJECTS.items():
            base = least(floor, rows)
            print(f"{size:>9}  {subject:22}{'floor':14}{1000 * base:>10.2f}  1.00 ({floor_name})")
            for who, task in {"here": ours, **others}.items():
                taken = least(task, rows)
                print(f"{size:>9}  {subject:22}{who:14}{1000 * taken:>10.2f}  {taken / base:.2f}", flush=True)


if __name__ == "__main__":
    main(int(float(sys.argv[1])) if len(sys.argv) > 1 else SIZES[-1])
