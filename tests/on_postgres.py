"""Runs pytest on a PostgreSQL of its own: python -m tests.on_postgres tests/services"""

from __future__ import annotations

import os
import subprocess
import sys

from tests import servers


def main(arguments: list[str]) -> int:
    with servers.postgres() as address:
        environment = {**os.environ, "DATABASE_URL": address}
        return subprocess.run([sys.executable, "-m", "pytest", *arguments], env=environment).returncode


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
