"""What the documents say is what the code does."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.conf import settings

from followup.domain.outcome import DEFINITIONS

DEVELOPERS = (Path(settings.BASE_DIR) / "DEVELOPERS.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", DEFINITIONS)
def test_the_definitions_of_outcome_stand_in_the_guide_word_for_word(name: str) -> None:
    assert f"- **{name}.** {DEFINITIONS[name]}\n" in DEVELOPERS


@pytest.mark.parametrize(
    "folder", sorted(path.name for path in (Path(settings.BASE_DIR) / "followup").iterdir() if path.is_dir())
)
def test_every_folder_of_the_house_is_named_in_the_guide(folder: str) -> None:
    if folder not in {"__pycache__", "migrations", "static"}:
        assert f"`{folder}/`" in DEVELOPERS or f"`{folder}/" in DEVELOPERS
