"""The commands that the README names are the ones that are run here."""

from __future__ import annotations

from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TEST_COMMAND = "bash tests/run"


def commands(text: str) -> list[str]:
    return [line.strip() for line in text.splitlines()]


@pytest.mark.parametrize("file", ["README.md", ".ci/run"])
def test_one_command_runs_the_tests_for_readers_and_for_the_gate(file: str) -> None:
    assert TEST_COMMAND in commands((ROOT / file).read_text(encoding="utf-8"))


def test_the_demo_is_one_command() -> None:
    named = [
        line
        for line in commands((ROOT / "README.md").read_text(encoding="utf-8"))
        if "manage.py demo" in line
    ]
    assert named == [
        "python3 -m venv .venv && .venv/bin/pip install -q -r requirements/base.txt"
        " && .venv/bin/python manage.py demo"
    ]
