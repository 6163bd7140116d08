"""Eye pressure as typed: whole mmHg, or a word where it was judged by touch."""

from __future__ import annotations

from dataclasses import dataclass

from followup.domain.errors import BadValue

HIGHEST = 80
WORDS = ("soft", "firm", "hard", "low", "normal", "high")
_UNITS = ("mmhg", "mm hg")


@dataclass(frozen=True, slots=True)
class Pressure:
    """At most one of the two is filled; neither if pressure was not measured."""

    mmhg: int | None = None
    text: str = ""


def read_pressure(text: str) -> Pressure:
    """Reads '18', '18 mmHg', a word such as 'soft', or nothing at all.

    Raises BadValue for two numbers, fractions, 0 (a number nobody measures: soft, or not measured?), anything
    over 80, and any other text.
    """
    typed = " ".join(text.casefold().split())
    for unit in _UNITS:
        typed = typed.removesuffix(unit).rstrip()
    if not typed:
        return Pressure()
    if typed.removeprefix("digitally ") in WORDS:
        return Pressure(text=typed)
    if not typed.isdecimal():
        raise _unread(text, f"Write whole mmHg for one eye, or one of: {', '.join(WORDS)}.")
    mmhg = int(typed)
    if mmhg == 0:
        raise _unread(text, "If the eye is soft, write soft; if it was not measured, leave it empty.")
    if mmhg > HIGHEST:
        raise _unread(text, f"At most {HIGHEST} mmHg is plausible. Check the number.")
    return Pressure(mmhg=mmhg)


def _unread(text: str, advice: str) -> BadValue:
    return BadValue(f'pressure "{text.strip()}" cannot be taken. {advice}', field="pressure", code="pressure")
