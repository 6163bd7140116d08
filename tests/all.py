"""Runs every test on SQLite, then those that touch the database on PostgreSQL: python -m tests.all"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from tests import on_postgres

ON_EVERY_CORE = ["-n", "auto", "--dist", "loadfile"]
ON_BOTH = ["models", "queries", "services", "interchange", "jobs"]


def main() -> int:
    on_sqlite = subprocess.run([sys.executable, "-m", "pytest", *ON_EVERY_CORE]).returncode
    here = Path(__file__).parent
    folders = [str(here / name) for name in ON_BOTH if (here / name).is_dir()]
    on_both = on_postgres.main([*ON_EVERY_CORE, *folders])
    return on_sqlite or on_both


if __name__ == "__main__":
    sys.exit(main())
