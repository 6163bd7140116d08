"""Which program counted: kept with a locked audit, so that a later change of the code is told, not hidden."""

from __future__ import annotations

import hashlib
import platform
from functools import cache
from importlib.metadata import version
from pathlib import Path

_FOLLOWUP = Path(__file__).parents[2]
_COUNTING = ("domain/**/*.py", "queries/cohort*.py", "queries/reports/audit*.py", "queries/locked/*.py")
_SHOWN = 12
"""Digits of the digest: enough to tell two states of the code apart."""


@cache
def program() -> str:
    """The digest of the code that rows and figures come from, and what it computes with."""
    digest = hashlib.sha256()
    for path in sorted({path for pattern in _COUNTING for path in _FOLLOWUP.glob(pattern)}):
        digest.update(path.relative_to(_FOLLOWUP).as_posix().encode())
        digest.update(path.read_bytes())
    libraries = ", ".join(f"{name} {version(name.lower())}" for name in ("NumPy", "SciPy"))
    return f"code {digest.hexdigest()[:_SHOWN]}, Python {platform.python_version()}, {libraries}"
