"""Acuity as a fraction: test distance over letter distance, at any distance."""

from __future__ import annotations

import re
from decimal import Decimal

from followup.domain.acuity.convert import logmar_from_fraction
from followup.domain.acuity.notation import Acuity, Distance, Notation, Reason, UnreadableAcuity
from followup.domain.acuity.numbers import NUMBER, note_on, to_decimal, within_chart
from followup.domain.acuity.partial_lines import with_partial_line

LONGEST_TEST_DISTANCE = 20
TOO_GOOD = 3
_FRACTION = re.compile(
    rf"(?P<tested>(?!\.){NUMBER}) ?/ ?(?P<letter>(?!\.){NUMBER})(?![0-9./])(?P<tail>.*)", re.ASCII
)
_PADDED = re.compile(r"0[0-9]")
_METRE_DISTANCES = frozenset(map(Decimal, (6, 5, 4)))
_NEAR_METRE_DISTANCES = frozenset(map(Decimal, (3, 2, 1)))
_METRE_LETTERS = frozenset(map(Decimal, (60, 48, 40, 38, 36, 30, 24, 19, 18, 15, 12)))
_FEET_LETTERS_FROM = 200


def read_fraction(words: str) -> Acuity | None:
    """A fraction with what stands beside its line, None when `words` is not one. Raises UnreadableAcuity."""
    found = _FRACTION.fullmatch(words)
    if found is None:
        return None
    if _PADDED.match(found["tested"]) or _PADDED.match(found["letter"]):
        raise UnreadableAcuity(
            f'"{words}" looks like a day and month. If it is acuity, write it without leading zeros.',
            Reason.DATE,
        )
    tested, letter = to_decimal(found["tested"]), to_decimal(found["letter"])
    return with_partial_line(_line(tested, letter), found["tail"])


def _line(tested: Decimal, letter: Decimal) -> Acuity:
    if tested <= 0 or letter <= 0:
        raise UnreadableAcuity(
            f"{tested}/{letter} has a zero. No sight is written in words, not as a fraction.",
            Reason.OUT_OF_RANGE,
        )
    if tested > LONGEST_TEST_DISTANCE or tested >= TOO_GOOD * letter:
        raise UnreadableAcuity(
            f"{tested}/{letter} may be turned round ({letter}/{tested}?). Write the test distance first.",
            Reason.REVERSED,
        )
    logmar = within_chart(logmar_from_fraction(tested, letter))
    notation, unit = _chart(tested, letter)
    distance = Distance(tested, unit) if unit else None
    return Acuity("", notation, logmar=logmar, distance=distance, note=note_on(logmar))


def _chart(tested: Decimal, letter: Decimal) -> tuple[Notation, str]:
    """Which chart a fraction comes from, as far as its numbers tell; its value does not depend on it."""
    if tested == LONGEST_TEST_DISTANCE or (
        letter >= _FEET_LETTERS_FROM and tested not in _METRE_DISTANCES - {5}
    ):
        return Notation.SNELLEN_FOOT, "ft"
    if tested in _METRE_DISTANCES or (tested in _NEAR_METRE_DISTANCES and letter in _METRE_LETTERS):
        return Notation.SNELLEN_METRE, "m"
    return Notation.FRACTION, ""
