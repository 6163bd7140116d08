"""Every refusal of a ladder word for word, and the steps of a small one whole."""

from __future__ import annotations

import pytest

from followup.domain.ladder import Hurry, Ladder, LadderFault, Step, parse_ladder
from followup.domain.roles import Role
from followup.domain.words import Channel

SMALL = """\
source = "Common practice, no source."  # line 1
shorter_for = ["oil"]

[[step]]  # line 4
key = "phone"
title = "Telephone"
channels = ["phone"]
day = 0
day_shorter = 0
by = ["coordinator"]
script = "Ask how the eye is."

[[step]]  # line 13
key = "write"
title = "Letter"
channels = ["letter", "email"]
day = 7
day_shorter = 3
by = ["coordinator", "surgeon"]
script = " Write. "

[decide]  # line 22
title = "Decide"
day = 366
day_shorter = 3
script = "Book or sign."
"""
CODES = ", ".join(Channel.codes())


def test_a_ladder_is_read_whole() -> None:
    assert parse_ladder(SMALL) == Ladder(
        source="Common practice, no source.",
        hurries=frozenset({Hurry.OIL}),
        steps=(
            Step(
                "phone",
                "Telephone",
                frozenset({Channel.PHONE}),
                0,
                0,
                frozenset({Role.COORDINATOR}),
                "Ask how the eye is.",
            ),
            Step(
                "write",
                "Letter",
                frozenset({Channel.LETTER, Channel.EMAIL}),
                7,
                3,
                frozenset({Role.COORDINATOR, Role.SURGEON}),
                "Write.",
            ),
            Step("decide", "Decide", frozenset(), 366, 3, frozenset({Role.SURGEON}), "Book or sign."),
        ),
    )


def test_nothing_hurries_a_ladder_that_names_nothing() -> None:
    assert parse_ladder(SMALL.replace('shorter_for = ["oil"]\n', "")).hurries == frozenset()


REFUSALS = [
    ("[decide]", "[end]", "line 1, the file: end: unknown key; there are decide, shorter_for, source, step."),
    (
        SMALL[SMALL.index("[decide]") :],
        "",
        "line 1, the file: a table [decide] is needed: the ladder ends with a clinician.",
    ),
    (
        SMALL[SMALL.index("[[step]]") : SMALL.index("[decide]")],
        "",
        "line 1, the file: at least one [[step]] is needed.",
    ),
    (
        SMALL[SMALL.index("[[step]]") : SMALL.index("[decide]")],
        "step = 3\n",
        "line 1, the file: at least one [[step]] is needed.",
    ),
    (
        SMALL[SMALL.index("[[step]]") : SMALL.index("[decide]")],
        "step = [3]\n",
        "line 1, step 1: this must be a table.",
    ),
    ('source = "Common practice, no source."', "source = 3", "line 1, the file: source: {TEXT}, found 3."),
    ('["oil"]', '"oil"', "line 1, the file: shorter_for: {LIST}, found 'oil'."),
    (
        '["oil"]',
        '["gas"]',
        "line 1, the file: shorter_for: 'gas' is none of oil, only_eye, child, first_week.",
    ),
    ('["phone"]', "[]", f"line 4, step 1: channels: name at least one of {CODES}."),
    ('["phone"]', '"phone"', "line 4, step 1: channels: {LIST}, found 'phone'."),
    ('["letter", "email"]', '["pigeon"]', f"line 13, step 2: channels: 'pigeon' is none of {CODES}."),
    (
        '["coordinator", "surgeon"]',
        "[]",
        "line 13, step 2: by: name at least one role, or nobody may take the step.",
    ),
    ('["coordinator", "surgeon"]', '"surgeon"', "line 13, step 2: by: {LIST}, found 'surgeon'."),
    ('key = "write"', 'key = ""', "line 13, step 2: key: {TEXT}, found ''."),
    ('key = "write"', 'key = "phone"', "line 13, step 2: key: 'phone' {TWICE}."),
    ('title = "Letter"', "title = 3", "line 13, step 2: title: {TEXT}, found 3."),
    ('script = " Write. "', "", "line 13, step 2: script: {TEXT}, found None."),
    ("day = 7", "day = 367", "line 13, step 2: day: {DAYS}, found 367."),
    ("day = 7", "day = -1", "line 13, step 2: day: {DAYS}, found -1."),
    ("day = 7", "day = true", "line 13, step 2: day: {DAYS}, found True."),
    ("day_shorter = 3\nby", "day_shorter = 1.5\nby", "line 13, step 2: day_shorter: {DAYS}, found 1.5."),
    ("day = 7", "day = 2", "line 13, step 2: day_shorter: 3 is later than day, 2."),
    ("day = 0\n", "day = 8\n", "line 13, step 2: day: {ORDER}, 'Telephone' is later."),
    ("day = 366", "day = 6", "line 22, decide: day: {ORDER}, 'Letter' is later."),
    (
        "day = 366\nday_shorter = 3",
        "day = 9\nday_shorter = 2",
        "line 22, decide: day: {ORDER}, 'Letter' is later.",
    ),
    (
        "day = 366\nday_shorter = 3",
        "day = 9\nday_shorter = 10",
        "line 22, decide: day_shorter: 10 is later than day, 9.",
    ),
    ('key = "write"', 'key = "decide"', "line 22, decide: key: 'decide' {TWICE}."),
    ('title = "Decide"', 'title = ""', "line 22, decide: title: {TEXT}, found ''."),
    ("day = 366", "day = 400", "line 22, decide: day: {DAYS}, found 400."),
    ("day = 366\nday_shorter = 3", "day = 366", "line 22, decide: day_shorter: {DAYS}, found None."),
    ('script = "Book or sign."', "", "line 22, decide: script: {TEXT}, found None."),
    (
        'title = "Decide"',
        'title = "Decide"\nby = 1',
        "line 22, decide: by: unknown key; there are day, day_shorter, script, title.",
    ),
]
WORDS = {
    "TEXT": "a text in quotes is needed",
    "LIST": "a list in square brackets is needed",
    "DAYS": "a whole number of days from 0 to 366 is needed",
    "TWICE": "stands twice; each step needs its own",
    "ORDER": "the steps must stand in order of their days",
}


@pytest.mark.parametrize(("there", "instead", "said"), REFUSALS, ids=[row[2][:60] for row in REFUSALS])
def test_a_refusal_names_file_line_table_and_key(there: str, instead: str, said: str) -> None:
    assert there in SMALL
    with pytest.raises(LadderFault) as refused:
        parse_ladder(SMALL.replace(there, instead, 1), "ladder.toml")
    assert refused.value.message == f"ladder.toml, {said.format(**WORDS)}"
    assert (refused.value.field, refused.value.code) == ("ladder", "ladder")


def test_a_text_without_a_name_is_called_a_ladder() -> None:
    with pytest.raises(LadderFault, match=r"^ladder, line 1, the file: "):
        parse_ladder("")
    with pytest.raises(LadderFault, match=r"^ladder: this is not valid TOML: "):
        parse_ladder("=")
