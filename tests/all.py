"""Runs every test on SQLite, then those that touch the database on PostgreSQL: python -m tests.all"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from tests import on_postgres

ON_BOTH = ["models", "queries", "services", "interchange", "jobs"]


def main() -> int:
    on_sqlite = subprocess.run([sys.executable, "-m", "pytest"]).returncode
    here = Path(__file__).parent
    folders = [str(here / name) for name in ON_BOTH if (here / name).is_dir()]
    return on_sqlite or on_postgres.main(folders)


if __name__ == "__main__":
    sys.exit(main())
