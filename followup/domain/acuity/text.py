"""Brings acuity as typed to plain characters, without changing what it says."""

from __future__ import annotations

import re
import unicodedata

_SAME_MEANING = str.maketrans(
    {
        **dict.fromkeys("\u02d7\u2010\u2011\u2012\u2013\u2014\u2015\u2212\ufe58\ufe63\uff0d", "-"),
        **dict.fromkeys("\u2044\u2215", "/"),
        **dict.fromkeys("\u2018\u2019\u2032\u00b4", "'"),
        **dict.fromkeys("\u201c\u201d\u2033", '"'),
        "\u066a": "%",
        "\u066b": ".",
        "\u060c": ",",
        "\u2192": ">",
    }
)
_RAISED_COUNT = re.compile("[\u207a\u207b][\u2070\u00b9\u00b2\u00b3\u2074-\u2079]{0,2}")


def plain(text: str) -> str:
    """ASCII digits, signs and slashes, single spaces, no invisible marks. In ASCII only spaces change.

    A raised digit becomes a plain one only after a raised sign: 6/9 with a raised 2 is not 6/92.
    """
    lowered = _RAISED_COUNT.sub(lambda found: unicodedata.normalize("NFKC", found[0]), text)
    characters = (_plain_character(character) for character in lowered.translate(_SAME_MEANING))
    return " ".join("".join(characters).split())


def _plain_character(character: str) -> str:
    if character.isdecimal():
        return str(unicodedata.decimal(character))
    if unicodedata.category(character) == "Cf":
        return ""
    folded = unicodedata.normalize("NFKC", character)
    hides_a_number = any(part.isdecimal() for part in folded)
    return character if hides_a_number else folded
