"""Each fault of a pathway file is refused with the file, the line, the key, the value and what is allowed."""

from __future__ import annotations

from pathlib import Path

import pytest

from followup.domain.errors import BadValue
from followup.domain.pathway.book import PathwayBook
from followup.domain.pathway.definition import PathwayFault, parse_pathway
from tests.domain.histories import PATHWAYS

GOOD = """\
key = "plain"
version = 1
title = "Plain"
source = "Common practice, no source."
fallback = true

[[milestone]]
key = "D1"
title = "Day 1"
offset = "P1D"
late = "P1D"

[[milestone]]
key = "W1"
title = "Week 1"
offset = "P7D"
early = "P2D"
late = "P4D"
"""

FAULTS = [
    ("not TOML", 'title = "Plain"', "title = Plain", ["plain.toml", "not valid TOML", "line 3"]),
    (
        "an unknown field",
        'late = "P4D"',
        'late = "P4D"\ncolour = "red"',
        ["line 13", "milestone 2", "colour"],
    ),
    ("a missing title", 'title = "Week 1"\n', "", ["line 13", "milestone 2: title", "required"]),
    ("a length of time that is none", '"P7D"', '"7 days"', ["line 13", "offset is '7 days'", "P1W"]),
    ("a number for a length of time", '"P7D"', "7", ["offset is 7", "in quotes"]),
    ("two milestones of one key", 'key = "W1"', 'key = "D1"', ["line 13", "'D1' stands twice"]),
    (
        "windows that open on one day",
        'early = "P2D"',
        'early = "P6D"',
        ["line 13", "'W1' opens on", "must open after"],
    ),
    ("windows out of order", 'offset = "P7D"', 'offset = "P0D"', ["line 13", "'W1'"]),
    ("a window that opens with the operation", 'offset = "P1D"', 'offset = "P0D"', ["line 7", "'D1'"]),
    ("closes before its target", 'late = "P4D"', 'late = "-P4D"', ["line 13", "'W1'"]),
    (
        "an unknown tamponade",
        "fallback = true",
        'fallback = true\n[[applies]]\ntamponade = ["oli"]',
        ["line 6", "applies 1", "'oli'", "'oil'"],
    ),
    ("never applied", "fallback = true", "fallback = false", ["applies", "fallback = true"]),
    (
        "a removal without its limit",
        'offset = "P7D"',
        'lane = "removal"\nopens = "P2M"',
        ["milestone 2", "opens and closes"],
    ),
    ("a key with a blank", 'key = "W1"', 'key = "W 1"', ["key is 'W 1'"]),
    ("no version", "version = 1\n", "", ["version", "required"]),
    (
        "endless reviews before the last",
        "",
        '\n[endless]\nkey = "Y"\ntitle = "Yearly"\nfirst = "P3D"\nevery = "P1Y"\n',
        ["endless reviews start", "after the last milestone"],
    ),
    (
        "endless reviews that never move on",
        "",
        '\n[endless]\nkey = "Y"\ntitle = "Yearly"\nfirst = "P1Y"\nevery = "P0D"\n',
        ["endless", "longer than nothing"],
    ),
]


@pytest.mark.parametrize(("find", "put", "words"), [f[1:] for f in FAULTS], ids=[f[0] for f in FAULTS])
def test_a_faulty_file_is_refused_with_its_place(find: str, put: str, words: list[str]) -> None:
    text = GOOD.replace(find, put, 1) if find else GOOD + put
    with pytest.raises(PathwayFault) as refused:
        parse_pathway(text, "plain.toml")
    for word in ["plain.toml", *words]:
        assert word in refused.value.message


def test_all_faults_are_told_at_once() -> None:
    with pytest.raises(PathwayFault) as refused:
        parse_pathway(GOOD.replace("P7D", "7d").replace("P1D", "1d"), "plain.toml")
    assert len(refused.value.message.splitlines()) == 3


@pytest.mark.parametrize("path", sorted(PATHWAYS.glob("*.toml")), ids=lambda path: path.stem)
def test_the_shipped_pathways_are_sound(path: Path) -> None:
    definition = parse_pathway(path.read_text(), path.name)
    assert definition.key == path.stem
    assert "common practice, no source" in definition.source.lower()


def test_a_book_needs_one_fallback() -> None:
    with pytest.raises(BadValue, match="found none"):
        PathwayBook.of([])
