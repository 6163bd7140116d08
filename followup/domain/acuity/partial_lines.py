"""Letters written beside a line: 6/9-2, 20/40+1, 6/9p."""

from __future__ import annotations

import re
from dataclasses import replace

from followup.domain.acuity.convert import LETTER
from followup.domain.acuity.notation import Acuity, Reason, UnreadableAcuity

MOST_BESIDE_A_LINE = 5
_COUNTED = re.compile(r"(?P<count>[+-] ?[0-9]{1,3})(?: ?(?:letters?|ltrs?))?", re.ASCII)
_UNCOUNTED = re.compile(r"p|pt|part|partial|partly|\+|-", re.ASCII)
_TWICE = re.compile(r"(?:[+-] ?[0-9]+[ ,]*){2,}", re.ASCII)


def with_partial_line(line: Acuity, tail: str) -> Acuity | None:
    """The reading of a line with the letters written behind it, or None when `tail` says something else.

    A letter counts 0.02, true of five-letter lines only and so marked approximate; a sign without a number,
    and "p", leave the line's value and are flagged. Raises UnreadableAcuity for over five letters or two
    counts.
    """
    tail = re.sub(r"^\((.+)\)$", r"\1", tail.strip())
    if not tail:
        return line
    if _UNCOUNTED.fullmatch(tail):
        return replace(line, partial_uncounted=True, approximate=True, note="Partial line, not counted.")
    if counted := _COUNTED.fullmatch(tail):
        return _counted(line, int(counted["count"].replace(" ", "")))
    if _TWICE.fullmatch(tail):
        raise UnreadableAcuity(
            f'Two counts of letters beside one line: "{tail}". Write one line and one count.', Reason.PARTIAL
        )
    return None


def _counted(line: Acuity, letters: int) -> Acuity:
    if abs(letters) > MOST_BESIDE_A_LINE:
        raise UnreadableAcuity(
            f"{letters:+d} letters is more than a line holds. Write the line that was read.", Reason.PARTIAL
        )
    if line.logmar is None:
        return line
    note = "0.02 logMAR a letter."
    if abs(letters) == MOST_BESIDE_A_LINE:
        note += " Five letters are a whole line: check."
    moved = line.logmar - LETTER * letters
    return replace(line, logmar=moved, partial_letters=letters, approximate=letters != 0, note=note)
