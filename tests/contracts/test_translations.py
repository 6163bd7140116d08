"""What patients read is there in every language, and the compiled catalogue is that of the written one."""

from __future__ import annotations

import ast
import gettext
import re
from pathlib import Path

import pytest
from django.utils.translation.template import templatize

ROOT = Path(__file__).parents[2]
CATALOGUE = ROOT / "locale" / "ar" / "LC_MESSAGES" / "django.po"
ENTRY = re.compile(r'^msgid "(.+)"\nmsgstr "(.*)"$', re.MULTILINE)
CALL = re.compile(r"""gettext\((u?(?:'(?:[^'\\]|\\.)*'|"(?:[^"\\]|\\.)*"))\)""")
NUMBER = "\u2066%(phone)s\u2069"
"""Isolated, so that in a line from the right a telephone number still reads from the left (UAX 9)."""


def written() -> dict[str, str]:
    return dict(ENTRY.findall(CATALOGUE.read_text(encoding="utf-8")))


def sources() -> list[Path]:
    rooms = [ROOT / "templates" / room for room in ("messages", "letters", "replies")]
    for_patients = [path for room in rooms for path in room.iterdir() if path.name != "letters.html"]
    modules = [
        ROOT / "followup" / "interchange" / name for name in ("letters/compose.py", "feeds/invitation.py")
    ]
    return sorted([*for_patients, *modules])


def sentences(path: Path) -> set[str]:
    text = path.read_text(encoding="utf-8")
    code = text if path.suffix == ".py" else templatize(text)
    return {ast.literal_eval(found) for found in CALL.findall(code)}


@pytest.mark.parametrize("path", sources(), ids=lambda path: path.relative_to(ROOT).as_posix())
def test_every_sentence_is_translated(path: Path) -> None:
    assert [sentence for sentence in sentences(path) if not written().get(sentence)] == []


def test_no_translation_is_left_over() -> None:
    assert set(written()) == set().union(*map(sentences, sources()))


def test_the_compiled_catalogue_is_that_of_the_written_one() -> None:
    with CATALOGUE.with_suffix(".mo").open("rb") as file:
        compiled = gettext.GNUTranslations(file)
    assert {source: compiled.gettext(source) for source in written()} == written()


@pytest.mark.parametrize("source", [source for source in written() if "%(" in source])
def test_a_translation_fills_in_the_same_facts(source: str) -> None:
    facts = re.compile(r"%\(\w+\)s")
    assert sorted(facts.findall(source)) == sorted(facts.findall(written()[source]))
    if "%(phone)s" in source:
        assert NUMBER in written()[source]
