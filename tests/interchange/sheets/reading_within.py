"""Reads the files named in its arguments within a limit of memory, and prints what came of each.

Run as a process of its own, so that the limit holds for nothing else.
"""

from __future__ import annotations

import resource
import sys
import time
from pathlib import Path

import django

MOST_BYTES = 1_500_000_000
"""Address space, which numerical libraries alone reserve several hundred megabytes of."""


def main(paths: list[str]) -> None:
    django.setup()
    from followup.domain.errors import FollowUpError
    from followup.interchange.sheets.read import read_sheet

    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    for path in paths:
        began = time.process_time()
        try:
            told = f"{len(read_sheet(Path(path).read_bytes()).rows)} rows"
        except FollowUpError as fault:
            told = fault.message
        print(f"{Path(path).name}|{time.process_time() - began:.1f}|{told}")
    print(f"peak|{peak_megabytes()}|MB")


def peak_megabytes() -> int:
    """The most that this process held; `getrusage` also counts what its parent held before it began."""
    status = Path("/proc/self/status").read_text()
    return int(next(line.split()[1] for line in status.splitlines() if line.startswith("VmHWM"))) // 1024


if __name__ == "__main__":
    main(sys.argv[1:])
