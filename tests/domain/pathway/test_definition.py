"""Each fault of a pathway file is refused with the file, the line, the key, the value and what is allowed."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from followup.domain.errors import BadValue
from followup.domain.pathway.book import PathwayBook
from followup.domain.pathway.definition import EndlessRule, PathwayFault, accepted_pathway, parse_pathway
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
        "an unknown field of the file",
        "version = 1",
        'version = 1\ncolour = "red"',
        ["line 1", "the file: colour"],
    ),
    (
        "an endless table that is none",
        "version = 1",
        "version = 1\nendless = 3",
        ["line 1, endless: this table is 3", "valid dictionary"],
    ),
    (
        "a removal that closes before it opens, counted from some days only",
        "",
        '\n[[milestone]]\nkey = "R"\ntitle = "Out"\nlane = "removal"\nopens = "P30D"\ncloses = "P1M"\n',
        ["line 20, milestone 3: key 'R', from 2024-01-31", "closes 2024-02-29"],
    ),
    (
        "endless reviews that close before their target",
        "",
        '\n[endless]\nkey = "Y"\ntitle = "Yearly"\nfirst = "P1Y"\nevery = "P1Y"\nlate = "-P1D"\n',
        ["line 20, endless: from 2023-03-01: A window must open"],
    ),
    (
        "two removals",
        "",
        "".join(
            f'\n[[milestone]]\nkey = "{key}"\ntitle = "R"\nlane = "removal"\nopens = "P1M"\ncloses = "P2M"\n'
            for key in ("R1", "R2")
        ),
        ["there may be one removal; this file has more."],
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


TOLD_WHOLE = [
    (
        "key of the file",
        "version = 1\n",
        "",
        ", line 1, the file: version: Field required.",
    ),
    (
        "key of a milestone",
        '"P7D"',
        "7",
        ', line 13, milestone 2: offset is 7: a length of time is written in quotes, such as "P1M".',
    ),
    (
        "a whole table",
        'offset = "P7D"',
        'lane = "removal"\nopens = "P2M"',
        ", line 13, milestone 2: this table: a removal has opens and closes, and no offset.",
    ),
    (
        "an entry of a list",
        "fallback = true",
        'fallback = true\n[[applies]]\nrepeat = "first"\n[[applies]]\ntamponade = ["oil", 3]',
        ", line 8, applies 2: tamponade.1 is 3: Input should be 'none', 'air', 'gas', 'oil', "
        "'heavy_liquid' or 'unknown'.",
    ),
    (
        "a table written in one line",
        GOOD[GOOD.index("\n[[") :],
        'milestone = [{key = "D1", title = "Day 1"}]',
        ", line 1, milestone 1: this table: a review has offset, early and late, "
        "and neither opens nor closes.",
    ),
    (
        "no review",
        GOOD[GOOD.index("\n[[") :],
        'milestone = [{key = "R", title = "Out", lane = "removal", opens = "P1M", closes = "P2M"}]',
        ": milestone: a pathway needs at least one review.",
    ),
    (
        "no condition",
        "fallback = true",
        "fallback = false",
        ": applies: say when this pathway applies, or set fallback = true.",
    ),
    (
        "keys",
        'key = "W1"',
        'key = "D1"',
        ", line 13, milestone 2: key 'D1' stands twice; each milestone needs its own.",
    ),
    (
        "order",
        'early = "P2D"',
        'early = "P6D"',
        ", line 13, milestone 2: key 'W1' opens on 2023-03-02 when counted from 2023-03-01; it must "
        "open after 2023-03-02, when the one before it (or the operation) does.",
    ),
    (
        "years",
        '"P7D"',
        '"P9999Y"',
        ", line 13, milestone 2: key 'W1', from 2023-03-01: P9999Y counted from 2023-03-01 leaves the "
        "years 1 to 9999. Use a shorter one.",
    ),
    (
        "endless key",
        "",
        '\n[endless]\nkey = "Y"\ntitle = "Yearly"\nfirst = "P5D"\nevery = "1Y"\n',
        ", line 20, endless: every is '1Y': \"1Y\" is not a duration this tool uses. Write a calendar "
        "duration such as P1W, P2M, P1Y6M or P90D, or -P14D for one that counts back; no hours, no "
        "fractions.",
    ),
    (
        "endless",
        "",
        '\n[endless]\nkey = "Y"\ntitle = "Yearly"\nfirst = "P5D"\nevery = "P1Y"\n',
        ", line 20, endless: the endless reviews start on 2023-03-06 when counted from 2023-03-01, not "
        "after the last milestone (2023-03-06).",
    ),
]


@pytest.mark.parametrize(
    ("find", "put", "message"), [told[1:] for told in TOLD_WHOLE], ids=[told[0] for told in TOLD_WHOLE]
)
def test_a_refusal_is_a_whole_sentence_with_its_place(find: str, put: str, message: str) -> None:
    text = GOOD.replace(find, put, 1) if find else GOOD + put
    with pytest.raises(PathwayFault) as refused:
        parse_pathway(text, "plain.toml")
    assert refused.value.message == f"plain.toml{message}"
    assert refused.value.code == "pathway"


A_REVIEW = "a review has offset, early and late, and neither opens nor closes."
A_REMOVAL = "a removal has opens and closes, and no offset."


@pytest.mark.parametrize(
    ("fields", "fits"),
    [
        ('offset = "P9D"', ""),
        ("", A_REVIEW),
        ('offset = "P9D"\nopens = "P1M"', A_REVIEW),
        ('offset = "P9D"\ncloses = "P2M"', A_REVIEW),
        ('lane = "removal"\nopens = "P1M"\ncloses = "P2M"', ""),
        ('lane = "removal"\ncloses = "P2M"', A_REMOVAL),
        ('lane = "removal"\nopens = "P1M"', A_REMOVAL),
        ('lane = "removal"\nopens = "P1M"\ncloses = "P2M"\noffset = "P9D"', A_REMOVAL),
    ],
)
def test_a_milestone_has_the_fields_of_its_lane(fields: str, fits: str) -> None:
    text = f'{GOOD}\n[[milestone]]\nkey = "M"\ntitle = "More"\n{fields}\n'
    if not fits:
        assert parse_pathway(text).milestone[-1].key == "M"
        return
    with pytest.raises(PathwayFault) as refused:
        parse_pathway(text, "plain.toml")
    assert refused.value.message == f"plain.toml, line 20, milestone 3: this table: {fits}"


def test_a_stored_version_is_read_as_it_was_accepted() -> None:
    assert accepted_pathway(GOOD) == parse_pathway(GOOD)
    assert accepted_pathway(GOOD) is accepted_pathway(GOOD)


def test_a_removal_counts_from_its_fill_unless_told_otherwise() -> None:
    removal = '\n[[milestone]]\nkey = "R"\ntitle = "Out"\nlane = "removal"\nopens = "P2M"\ncloses = "P3M"\n'
    assert parse_pathway(GOOD + removal).removal.counts_from == "fill"
    with pytest.raises(PathwayFault, match="counts_from is 'today'"):
        parse_pathway(f'{GOOD}{removal}counts_from = "today"\n')


def test_all_faults_are_told_at_once() -> None:
    with pytest.raises(PathwayFault) as refused:
        parse_pathway(GOOD.replace("P7D", "7d").replace("P1D", "1d"), "plain.toml")
    assert [line.split(":")[0] for line in refused.value.message.split("\n")] == [
        "plain.toml, line 7, milestone 1",
        "plain.toml, line 7, milestone 1",
        "plain.toml, line 13, milestone 2",
    ]


def test_a_text_without_a_name_is_called_a_pathway() -> None:
    with pytest.raises(PathwayFault, match=r"^pathway, line 13, milestone 2: "):
        parse_pathway(GOOD.replace("P7D", "7d"))


def test_reviews_after_a_removal_are_checked_too() -> None:
    removal = '[[milestone]]\nkey = "R"\ntitle = "Out"\nlane = "removal"\nopens = "P1M"\ncloses = "P2M"\n\n'
    text = removal.join(GOOD.replace("P7D", "P1D").rsplit("[[milestone]]", 1)).replace(
        removal, f"{removal}[[milestone]]"
    )
    with pytest.raises(PathwayFault, match="line 20, milestone 3: key 'W1' opens on"):
        parse_pathway(text, "plain.toml")


@pytest.mark.parametrize("path", sorted(PATHWAYS.glob("*.toml")), ids=lambda path: path.stem)
def test_the_shipped_pathways_are_sound(path: Path) -> None:
    definition = parse_pathway(path.read_text(), path.name)
    assert definition.key == path.stem
    assert "common practice, no source" in definition.source.lower()


def test_a_book_needs_one_fallback() -> None:
    with pytest.raises(BadValue, match="found none"):
        PathwayBook.of([])


@pytest.mark.parametrize(
    ("first", "every", "targets"),
    [
        ("P1Y", "P6M", ["2025-01-31", "2025-07-31", "2026-01-31"]),
        ("P6M", "P6W", ["2024-07-31", "2024-09-11", "2024-10-23"]),
        ("P10W", "P45D", ["2024-04-10", "2024-05-25", "2024-07-09"]),
    ],
)
def test_endless_reviews_count_months_weeks_and_days_from_the_anchor(
    first: str, every: str, targets: list[str]
) -> None:
    """Worked on a calendar: after 31 January 2024; months keep the 31st where there is one."""
    rule = EndlessRule(key="R", title="Review", first=first, every=every)
    windows = [rule.window(date(2024, 1, 31), number) for number in range(3)]
    assert [str(window.target) for window in windows] == targets
