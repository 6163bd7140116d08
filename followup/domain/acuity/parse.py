"""Reads an acuity as written. What can be read two ways is refused, never guessed."""

from __future__ import annotations

import re
from dataclasses import replace
from decimal import Decimal

from followup.domain.acuity.below_chart import read_category
from followup.domain.acuity.fractions import read_fraction
from followup.domain.acuity.notation import Acuity, Notation, Reason, UnreadableAcuity
from followup.domain.acuity.numbers import NUMBER, read_number, to_decimal
from followup.domain.acuity.partial_lines import with_partial_line
from followup.domain.acuity.refusals import refuse_what_is_no_reading, unread
from followup.domain.acuity.text import plain
from followup.domain.words import Correction

LONGEST = 60
_SIGNED = rf"(?P<value>[+-]? ?{NUMBER})"
_NAMED = (
    (Notation.LOGMAR, r"log ?mar", r"log ?mar"),
    (
        Notation.LETTERS,
        r"etdrs(?: letters?| score)?|letters?(?: score)?",
        r"(?:etdrs )?(?:letters?|ltrs?|l)|etdrs",
    ),
    (Notation.DECIMAL, r"decimal|dec", r"decimal|dec"),
)
_NAMED_FORMS = tuple(
    (
        notation,
        re.compile(rf"(?:{before})[ :=]*{_SIGNED}|(?P<behind>[+-]? ?{NUMBER}) ?(?:{behind})", re.ASCII),
    )
    for notation, before, behind in _NAMED
)
_BARE = re.compile(rf"{_SIGNED}(?P<tail>.*)", re.ASCII)
_CHART_WORDS = re.compile(r"^(?:v/?a|v|vision)(?![a-z/])[ :=,]*")
_CORRECTIONS = (
    (Correction.PINHOLE, r"(?:with )?(?:ph|pin ?hole)"),
    (Correction.BEST, r"bcva|best corrected"),
    (Correction.UNAIDED, r"ucva|unaided|sc|without (?:glasses|correction)"),
    (Correction.HABITUAL, r"(?:with )?(?:own )?glasses"),
    # "With correction" does not tell whether it was refracted for the purpose.
    (None, r"cc|with correction|aided"),
)
_OWN_AND_PINHOLE = re.compile(
    r"(?P<own>.*?[0-9a-z)+])[ ,;>]*(?<![a-z])(?P<pinhole>(?:with )?(?:ph|pin ?hole)(?![a-z]).*)",
    re.IGNORECASE,
)


def read_acuity(text: str, *, bare: Notation | None) -> Acuity:
    """Reads one reading in any accepted form.

    `bare` says what a number alone means in this column or at this site: decimal, logMAR or letters; None
    refuses it. Raises UnreadableAcuity, and nothing else, with a reason that a person can act on.
    """
    words = _words(text)
    refuse_what_is_no_reading(words)
    rest, correction, note = _without_correction(words)
    reading = read_category(rest) or read_fraction(rest) or _read_named(rest) or _read_bare(rest, bare)
    if reading is None:
        raise unread(rest)
    notes = " ".join(part for part in (note, reading.note) if part)
    return replace(reading, as_written=text, correction=correction, note=notes)


def propose_readings(text: str, *, bare: Notation | None) -> tuple[Acuity, ...]:
    """What a cell probably holds, for a person to confirm: one reading, one with its pinhole, or nothing.

    Never raises. "6/6 PH 6/5" gives two; "6/9 6/12" gives none, since nothing tells the two apart.
    """
    try:
        return (read_acuity(text, bare=bare),)
    except UnreadableAcuity:
        found = _OWN_AND_PINHOLE.fullmatch(plain(text)[: LONGEST + 1])
    if found is None:
        return ()
    try:
        own = read_acuity(found["own"], bare=bare)
        return own, _pinhole(own, found["pinhole"], bare)
    except UnreadableAcuity:
        return ()


def pinhole_without_improvement(own: Acuity) -> Acuity:
    """The pinhole reading that "no improvement" stands for: the same value, neither missing nor blind."""
    return replace(own, as_written="NI", correction=Correction.PINHOLE, note="No improvement with pinhole.")


def _pinhole(own: Acuity, text: str, bare: Notation | None) -> Acuity:
    try:
        return read_acuity(text, bare=bare)
    except UnreadableAcuity as refusal:
        if refusal.reason is Reason.NO_IMPROVEMENT:
            return replace(pinhole_without_improvement(own), as_written=text)
        raise


def _words(text: str) -> str:
    words = re.sub(r"(?<=[0-9a-z])[.,;]+$", "", plain(text).casefold())
    if len(words) > LONGEST:
        raise UnreadableAcuity(
            f"An acuity has at most {LONGEST} characters, this text has {len(words)}.", Reason.UNRECOGNISED
        )
    return words


def _without_correction(words: str) -> tuple[str, Correction | None, str]:
    """What is left, the correction that the text names, and a note where it names one only by half."""
    rest = _CHART_WORDS.sub("", words)
    for correction, pattern in _CORRECTIONS:
        shorter = re.sub(
            rf"^\(?(?:{pattern})\)?(?![a-z])[ :=,]*|[ ,]*(?<![a-z])\(?(?:{pattern})\)?$", "", rest
        )
        if shorter != rest:
            note = "" if correction else "With correction; which is not told."
            return _CHART_WORDS.sub("", shorter), correction, note
    return rest, None, ""


def _read_named(words: str) -> Acuity | None:
    for notation, form in _NAMED_FORMS:
        if found := form.fullmatch(words):
            return _read_signed(found["value"] or found["behind"], notation)
    return None


def _read_bare(words: str, bare: Notation | None) -> Acuity | None:
    found = _BARE.fullmatch(words)
    if found is None:
        return None
    written, tail = found["value"], found["tail"].strip()
    # 6-9 is a mistyped fraction and no line 6 with nine letters missed.
    if tail[:1] in ("+", "-") and not re.search("[.,]", written):
        return None
    value = to_decimal(written)
    if with_partial_line(Acuity("", Notation.DECIMAL, logmar=Decimal(0)), tail) is None:
        return None
    if bare is None:
        raise _ambiguous(value)
    if tail:
        _refuse_partial_number(words, tail, bare)
    return with_partial_line(_read_signed(written, bare), tail)


def _read_signed(written: str, notation: Notation) -> Acuity:
    if written.startswith("+") and notation is Notation.LETTERS:
        raise UnreadableAcuity(
            f'"{written}" letters can be a gain. Write the score itself.', Reason.AMBIGUOUS
        )
    return read_number(to_decimal(written), notation)


def _refuse_partial_number(words: str, tail: str, bare: Notation) -> None:
    if bare is not Notation.DECIMAL:
        raise UnreadableAcuity(
            f'"{words}": {bare} counts letters itself, so nothing stands beside it. Write one number.',
            Reason.PARTIAL,
        )
    if tail.replace(" ", "") == "-1":
        raise UnreadableAcuity(
            f'"{words}" can be a range up to 1 or one letter missed. Write the one that was meant.',
            Reason.AMBIGUOUS,
        )


def _ambiguous(value: Decimal) -> UnreadableAcuity:
    readings = [
        _described(value, notation) for notation in (Notation.DECIMAL, Notation.LOGMAR, Notation.LETTERS)
    ]
    possible = " or ".join(reading for reading in readings if reading)
    if not possible:
        return UnreadableAcuity(f"{value} fits no scale of acuity. Check it.", Reason.OUT_OF_RANGE)
    return UnreadableAcuity(
        f"{value} alone does not tell its scale: {possible}. Say which the column uses.", Reason.AMBIGUOUS
    )


def _described(value: Decimal, notation: Notation) -> str:
    try:
        reading = read_number(value, notation)
    except UnreadableAcuity:
        return ""
    label = {Notation.LOGMAR: "logMAR"}.get(notation, str(notation))
    return f"{label} {value}" + ("" if notation is Notation.LOGMAR else f" (logMAR {reading.logmar_4dp})")
