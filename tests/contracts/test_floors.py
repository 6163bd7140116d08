"""Which outside packages a floor may import, also inside a function.

The floors among themselves are kept by the import-linter contracts in pyproject.toml, which cannot name a
part of an outside package.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2] / "followup"

ALLOWED: dict[str, set[str]] = {
    "domain": {"dateutil"},
    "domain/pathway": {"dateutil", "pydantic"},
    "domain/survival": {"dateutil", "numpy", "scipy"},
    "models": {"django.conf", "django.contrib.auth.models", "django.db"},
    "queries": {
        "anyascii",
        "django.conf",
        "django.core",
        "django.db",
        "django.utils",
        "holidays",
        "rapidfuzz",
    },
    "queries/locked": {"pydantic"},
    "queries/proposal": {"django.db", "numpy", "scipy"},
    "services": {
        "django.apps",
        "django.conf",
        "django.contrib.auth",
        "django.core",
        "django.db",
        "django.utils",
    },
    "interchange/letters": {"django.template", "django.utils", "fpdf"},
    "interchange/reports": {"fpdf"},
    "interchange": {
        "dateutil",
        "django.conf",
        "django.core",
        "django.db",
        "django.template",
        "django.utils",
        "icalendar",
        "pydantic",
        "python_calamine",
        "xlrd",
        "xlsxwriter",
    },
    "jobs": {"celery", "django.utils"},
    "templatetags": {"django"},
    "web": {"csp", "django", "matplotlib"},
    "management": {"django", "waitress"},
}
"""Floor, or a room of it, to the outside packages it may import. HTTP belongs to `web` alone."""


def imports_of(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            yield from (f"{node.module}.{name.name}" for name in node.names)


def is_outside(name: str) -> bool:
    first = name.partition(".")[0]
    return first != "followup" and first not in sys.stdlib_module_names


def is_allowed(name: str, allowed: set[str]) -> bool:
    return any(name == package or name.startswith(f"{package}.") for package in allowed)


def room_of(path: Path) -> str:
    """The most particular entry of the table that the file lies in."""
    inside = path.relative_to(ROOT).as_posix()
    return max((room for room in ALLOWED if inside.startswith(f"{room}/")), key=len)


def sources() -> list[Path]:
    floors = [ROOT / floor for floor in ALLOWED if "/" not in floor]
    return sorted(path for floor in floors for path in floor.rglob("*.py"))


@pytest.mark.parametrize("path", sources(), ids=lambda path: path.relative_to(ROOT).as_posix())
def test_a_floor_imports_only_the_outside_packages_it_may(path: Path) -> None:
    outside = sorted(name for name in imports_of(path) if is_outside(name))
    allowed = ALLOWED[room_of(path)]
    assert [name for name in outside if not is_allowed(name, allowed)] == []


def test_every_floor_is_in_the_table() -> None:
    folders = {path.name for path in ROOT.iterdir() if (path / "__init__.py").exists()}
    assert folders - {"migrations"} == {floor for floor in ALLOWED if "/" not in floor}
