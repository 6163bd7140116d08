"""How alike two names are, in any spelling and script."""

from __future__ import annotations

import re
from functools import lru_cache

from anyascii import anyascii
from rapidfuzz import fuzz

_SHORTEST_SKELETON = 3
"""Two consonants are shared by too many names to say anything."""


def likeness(first: str, second: str) -> float:
    """0 to 100: in plain letters with the parts of the name in any order, or by consonants alone.

    Scripts that leave out vowels, and romanisations that choose different ones, agree on the consonants.
    """
    if not first.strip() or not second.strip():
        return 0
    by_letters = fuzz.token_sort_ratio(" ".join(plain(first)), " ".join(plain(second)))
    bones = [_consonants(first), _consonants(second)]
    if min(len("".join(bone)) for bone in bones) < _SHORTEST_SKELETON:
        return by_letters
    return max(by_letters, fuzz.token_sort_ratio(*(" ".join(bone) for bone in bones)))


@lru_cache(maxsize=100_000)
def plain(name: str) -> tuple[str, ...]:
    """The parts of a name in plain lower-case letters: Müller as muller, محمد as mhmd."""
    return tuple(re.findall(r"[a-z]+", anyascii(name).casefold()))


@lru_cache(maxsize=100_000)
def _consonants(name: str) -> tuple[str, ...]:
    parts = (re.sub(r"(.)\1+", r"\1", re.sub(r"[aeiouyw]", "", part)) for part in plain(name))
    return tuple(part for part in parts if part)
