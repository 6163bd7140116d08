"""Changes the rules in small ways, one at a time, and counts how many changes the tests notice.

Run with `python -m tests.mutation [subject ...] [--processes N]`, such as `python -m tests.mutation fills`. A
subject is a file or folder of `followup/domain`; without one all are tried. Every run begins anew; `--go-on`
takes up one that was stopped, as long as rules and tests are the same. Leaves with 1 below 95 in a hundred.
What is left out, and why some changes go unnoticed, stands in `tests/MUTATION.md`.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import sys
import time as clock
from collections import Counter, defaultdict
from pathlib import Path

ROOT = Path(__file__).parents[2]
DOMAIN = "followup.domain."
AT_LEAST = 0.95
NOTICED = ("killed", "timeout")
"""A change that makes the tests hang is noticed too."""


def main() -> int:
    asked = _arguments()
    started = clock.monotonic()
    if not asked.go_on:
        shutil.rmtree(ROOT / "mutants", ignore_errors=True)
    command = ["run", "--max-children", str(asked.processes)] if asked.processes else ["run"]
    if failed := _mutmut(*command, *(f"{DOMAIN}{subject}.*" for subject in asked.subjects)).returncode:
        return failed
    found = _by_subject(asked.subjects)
    share = _print_table(found)
    print(f"{(clock.monotonic() - started) / 60:.0f} minutes")
    return 0 if share >= AT_LEAST else 1


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__)
    parser.add_argument("subjects", nargs="*", help="a file or folder of followup/domain; all without one")
    parser.add_argument("--processes", type=int, default=0, help="how many at a time; one for each core")
    parser.add_argument("--go-on", action="store_true", help="take up a run that was stopped")
    return parser.parse_args()


def _mutmut(*arguments: str, quiet: bool = False) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "mutmut", *arguments]
    return subprocess.run(command, cwd=ROOT, text=True, stdout=subprocess.PIPE if quiet else None)


def _by_subject(subjects: list[str]) -> dict[str, Counter[str]]:
    """How many changes of each subject ended how. The tool prints a line `name: ending` for each."""
    found: dict[str, Counter[str]] = defaultdict(Counter)
    for line in _mutmut("results", "--all", "true", quiet=True).stdout.splitlines():
        name, _, ending = line.strip().partition(": ")
        subject = name.removeprefix(DOMAIN).partition(".")[0]
        if name.startswith(DOMAIN) and ending and (not subjects or subject in subjects):
            found[subject][ending] += 1
    return found


def _print_table(found: dict[str, Counter[str]]) -> float:
    """Prints a line for each subject; the share of all changes that was noticed."""
    print(f"{'subject':12}{'changes':>9}{'noticed':>9}{'share':>8}")
    everything = sum(found.values(), Counter[str]())
    for subject, endings in [*sorted(found.items()), ("all", everything)]:
        unnoticed = {ending: number for ending, number in endings.items() if ending not in NOTICED}
        words = ", ".join(f"{number} {ending}" for ending, number in sorted(unnoticed.items()))
        print(f"{subject:12}{endings.total():>9}{_noticed(endings):>9}{_share(endings):>8.1%}  {words}")
    return _share(everything)


def _noticed(endings: Counter[str]) -> int:
    return sum(endings[ending] for ending in NOTICED)


def _share(endings: Counter[str]) -> float:
    return _noticed(endings) / endings.total() if endings else 0.0


if __name__ == "__main__":
    sys.exit(main())
