"""The recall ladder that a site follows: its own, or the one that comes with the tool."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from django.conf import settings

from followup.domain.ladder import Ladder, parse_ladder
from followup.models import Site


def ladder_of(site: Site) -> Ladder:
    """A stored text was checked when it was accepted."""
    return _read(site.ladder, f"the ladder of {site.name}") if site.ladder.strip() else usual_ladder()


def usual_ladder() -> Ladder:
    return _read(usual_text(), "ladder.toml")


@lru_cache(maxsize=1)
def usual_text() -> str:
    return (Path(settings.BASE_DIR) / "fixtures" / "ladder.toml").read_text(encoding="utf-8")


@lru_cache(maxsize=64)
def _read(text: str, file: str) -> Ladder:
    return parse_ladder(text, file)
