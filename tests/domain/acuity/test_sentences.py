"""What a person is told, word for word: refusals, the notes on a reading, and readings whole."""

from __future__ import annotations

from decimal import Decimal

import pytest

from followup.domain.acuity.bands import Band, band
from followup.domain.acuity.convert import logmar_from_decimal, mean_logmar
from followup.domain.acuity.notation import Acuity, Category, Distance, Notation, Reason, UnreadableAcuity
from followup.domain.acuity.parse import pinhole_without_improvement, propose_readings, read_acuity
from followup.domain.acuity.substitution import substitution
from followup.domain.acuity.summary import SubstitutedMean, summarise
from followup.domain.errors import BadValue
from followup.domain.words import Correction

DECIMAL, LETTERS = Notation.DECIMAL, Notation.LETTERS
METRE, FOOT = Notation.SNELLEN_METRE, Notation.SNELLEN_FOOT

REFUSALS: list[tuple[str, Notation | None, Reason, str]] = [
    ("PL-", None, Reason.AMBIGUOUS, 'Light perception with a bare "-" can mean none. Write LP or NLP.'),
    ("PL, -", None, Reason.AMBIGUOUS, 'Light perception with a bare "-" can mean none. Write LP or NLP.'),
    ("n/a", None, Reason.MISSING, "Nothing was measured. Leave the reading out."),
    (
        "0123456789 abcdefghij 0123456789 abcdefghij?",
        None,
        Reason.UNSURE,
        '"0123456789 abcdefghij 0123456789 abcdefg" is marked as unsure. Ask whoever wrote it.',
    ),
    ("CF 1", None, Reason.DISTANCE, 'The distance "1" needs one number and a unit: m, cm, ft or in.'),
    ("CF at 1", None, Reason.DISTANCE, 'The distance "at 1" needs one number and a unit: m, cm, ft or in.'),
    (
        "CF from 1",
        None,
        Reason.DISTANCE,
        'The distance "from 1" needs one number and a unit: m, cm, ft or in.',
    ),
    ("CF 10 m", None, Reason.DISTANCE, "Nothing is tested this way at 10 m: expected above 0 and up to 6 m."),
    (
        "70-1",
        LETTERS,
        Reason.SEPARATOR,
        '"70-1" has no slash. Write it as 6/9.',
    ),
    (
        "0.5-2",
        Notation.LOGMAR,
        Reason.PARTIAL,
        '"0.5-2": logmar counts letters itself, so nothing stands beside it. Write one number.',
    ),
    (
        "0.5 - 1",
        DECIMAL,
        Reason.AMBIGUOUS,
        '"0.5 - 1" can be a range up to 1 or one letter missed. Write the one that was meant.',
    ),
    (
        "0.5",
        None,
        Reason.AMBIGUOUS,
        "0.5 alone does not tell its scale: decimal 0.5 (logMAR 0.3010) or logMAR 0.5. Say which the column "
        "uses.",
    ),
    (
        "1",
        None,
        Reason.AMBIGUOUS,
        "1 alone does not tell its scale: decimal 1 (logMAR 0.0000) or logMAR 1 or letters 1 (logMAR 1.6800)."
        " Say which the column uses.",
    ),
    ("150", None, Reason.OUT_OF_RANGE, "150 fits no scale of acuity. Check it."),
    (
        "6/9-6",
        None,
        Reason.PARTIAL,
        "-6 letters is more than a line holds. Write the line that was read.",
    ),
    (
        "0",
        DECIMAL,
        Reason.OUT_OF_RANGE,
        "0 is not a decimal acuity: those are above 0. Only logMAR can be 0 or less; write no sight as NLP.",
    ),
    (
        "3",
        DECIMAL,
        Reason.OUT_OF_RANGE,
        "3 is not a decimal acuity: those are below 3. It may be a five-score value (5.0 = 6/6). Check the "
        "notation.",
    ),
    (
        "5.5",
        DECIMAL,
        Reason.OUT_OF_RANGE,
        "5.5 is not a decimal acuity: those are below 3. It may be a five-score value (5.0 = 6/6). Check the "
        "notation.",
    ),
    (
        "5.6",
        DECIMAL,
        Reason.OUT_OF_RANGE,
        "5.6 is not a decimal acuity: those are below 3. Check the notation.",
    ),
    (
        "+8 letters",
        None,
        Reason.AMBIGUOUS,
        '"+8" letters can be a gain. Write the score itself.',
    ),
    (
        "6/9-1+2",
        None,
        Reason.PARTIAL,
        'Two counts of letters beside one line: "-1+2". Write one line and one count.',
    ),
    (
        "1,250",
        DECIMAL,
        Reason.AMBIGUOUS,
        '"1,250" can be a thousand or a fraction. Write it with a point.',
    ),
    (
        "70",
        Notation.CATEGORY,
        Reason.AMBIGUOUS,
        "A bare number cannot be in the notation category. Choose decimal, logMAR or letters.",
    ),
    (
        "logMAR 2.7",
        None,
        Reason.OUT_OF_RANGE,
        "logMAR 2.7 is lower sight than charts measure. If fingers, hand movements or light were seen, write "
        "that.",
    ),
    (
        "logMAR -0.6",
        None,
        Reason.OUT_OF_RANGE,
        "logMAR -0.6 is better sight than charts measure. Check the number and its notation.",
    ),
    (
        "101",
        LETTERS,
        Reason.OUT_OF_RANGE,
        "101 is not a letter score: those are whole numbers from 0 to 100. Check the notation.",
    ),
    *(
        (
            text,
            None,
            Reason.DATE,
            f'"{text}" looks like a day and month. If it is acuity, write it without leading zeros.',
        )
        for text in ("06/09", "06/9", "6/09")
    ),
    (
        "6/0",
        None,
        Reason.OUT_OF_RANGE,
        "6/0 has a zero. No sight is written in words, not as a fraction.",
    ),
    (
        "0123456789 abcdefghij 0123456789 abcdefghij",
        None,
        Reason.UNRECOGNISED,
        '"0123456789 abcdefghij 0123456789 abcdefg" is not an acuity. Write 6/9, 20/30, logMAR 0.2, 75 '
        "letters, CF 1 m, HM, LP or NLP.",
    ),
    (
        "6" * 61,
        None,
        Reason.UNRECOGNISED,
        "An acuity has at most 60 characters, this text has 61.",
    ),
]


@pytest.mark.parametrize(("text", "bare", "reason", "message"), REFUSALS)
def test_a_refusal_word_for_word(text: str, bare: Notation | None, reason: Reason, message: str) -> None:
    with pytest.raises(UnreadableAcuity) as refusal:
        read_acuity(text, bare=bare)
    assert (refusal.value.message, refusal.value.reason) == (message, reason)


def fingers(text: str, **facts: object) -> Acuity:
    return Acuity(text, Notation.CATEGORY, category=Category.COUNTING_FINGERS, **facts)


def light(text: str, **facts: object) -> Acuity:
    return Acuity(text, Notation.CATEGORY, category=Category.LIGHT_PERCEPTION, **facts)


PAST_THE_END = "Past the last line of a letter chart, so no letter count: check that it was measured."
NO_LETTER = "No letter read: check whether fingers, hand movements or light were seen."
READINGS: list[tuple[str, Acuity]] = [
    ("6/6", Acuity("6/6", METRE, logmar=Decimal(0), distance=Distance(Decimal(6), "m"))),
    ("20/20", Acuity("20/20", FOOT, logmar=Decimal(0), distance=Distance(Decimal(20), "ft"))),
    ("10/10", Acuity("10/10", Notation.FRACTION, logmar=Decimal(0))),
    (
        "6/600",
        Acuity("6/600", METRE, logmar=Decimal(2), distance=Distance(Decimal(6), "m"), note=PAST_THE_END),
    ),
    ("LP projections" + 23 * " x", light("LP projections" + 23 * " x", note="projections" + 23 * " x")),
    ("LP.", light("LP.")),
    ("BCVA 1.0", Acuity("BCVA 1.0", DECIMAL, logmar=Decimal(0), correction=Correction.BEST)),
    ("PH VA 1.0", Acuity("PH VA 1.0", DECIMAL, logmar=Decimal(0), correction=Correction.PINHOLE)),
    ("logMAR - 0.1", Acuity("logMAR - 0.1", Notation.LOGMAR, logmar=Decimal("-0.1"))),
    ("1/1", Acuity("1/1", Notation.FRACTION, logmar=Decimal(0))),
    ("logMAR 2", Acuity("logMAR 2", Notation.LOGMAR, logmar=Decimal(2), note=PAST_THE_END)),
    ("logMAR 1.7", Acuity("logMAR 1.7", Notation.LOGMAR, logmar=Decimal("1.7"))),
    ("0 letters", Acuity("0 letters", LETTERS, logmar=Decimal("1.70"), note=NO_LETTER)),
    ("85 letters", Acuity("85 letters", LETTERS, logmar=Decimal(0))),
    ("1,00", Acuity("1,00", DECIMAL, logmar=Decimal(0))),
    ("0,100", Acuity("0,100", DECIMAL, logmar=Decimal(1))),
    ("logMAR -0,100", Acuity("logMAR -0,100", Notation.LOGMAR, logmar=Decimal("-0.1"))),
    ("0.005", Acuity("0.005", DECIMAL, logmar=logmar_from_decimal(Decimal("0.005")), note=PAST_THE_END)),
    ("CF", fingers("CF")),
    ("CF 6.1 m", fingers("CF 6.1 m", distance=Distance(Decimal("6.1"), "m"))),
    ("CF close to face", fingers("CF close to face", note="close to face")),
    ("1.0", Acuity("1.0", DECIMAL, logmar=Decimal(0))),
    ("0.01", Acuity("0.01", DECIMAL, logmar=Decimal(2), note=PAST_THE_END)),
    (
        "1.0+2",
        Acuity(
            "1.0+2",
            DECIMAL,
            logmar=Decimal("-0.04"),
            partial_letters=2,
            approximate=True,
            note="0.02 logMAR a letter.",
        ),
    ),
    (
        "1.0-5",
        Acuity(
            "1.0-5",
            DECIMAL,
            logmar=Decimal("0.10"),
            partial_letters=-5,
            approximate=True,
            note="0.02 logMAR a letter. Five letters are a whole line: check.",
        ),
    ),
    (
        "1.0+1",
        Acuity(
            "1.0+1",
            DECIMAL,
            logmar=Decimal("-0.02"),
            partial_letters=1,
            approximate=True,
            note="0.02 logMAR a letter.",
        ),
    ),
    (
        "cc 1.0p",
        Acuity(
            "cc 1.0p",
            DECIMAL,
            logmar=Decimal(0),
            partial_uncounted=True,
            approximate=True,
            note="With correction; which is not told. Partial line, not counted.",
        ),
    ),
]


@pytest.mark.parametrize(("text", "reading"), READINGS)
def test_a_reading_is_kept_whole(text: str, reading: Acuity) -> None:
    assert read_acuity(text, bare=DECIMAL) == reading


def test_no_improvement_is_written_as_such_alone_and_as_typed_in_its_cell() -> None:
    own = read_acuity("6/36", bare=None)
    assert pinhole_without_improvement(own) == Acuity(
        "NI",
        own.notation,
        logmar=own.logmar,
        distance=own.distance,
        correction=Correction.PINHOLE,
        note="No improvement with pinhole.",
    )
    proposed = propose_readings("6/36 PH NI", bare=None)
    assert [reading.as_written for reading in proposed] == ["6/36", "PH NI"]


def test_one_number_is_proposed_in_the_notation_of_its_column() -> None:
    assert propose_readings("70", bare=LETTERS) == (read_acuity("70", bare=LETTERS),)


def test_a_line_partner_reaches_its_band_with_the_tolerance_to_spare_and_no_more() -> None:
    """A limit of logMAR 0.5 takes in 0.505, the tolerance itself."""
    reached = [band(read_acuity(text, bare=None)) for text in ("logMAR 0.505", "logMAR 0.506")]
    assert reached == [Band.MILD, Band.MODERATE]


def test_a_substituted_mean_names_its_table_and_source() -> None:
    table = substitution("lange_2009")
    found = summarise([read_acuity("HM", bare=None)], substitution=table)
    assert found.substituted_mean == SubstitutedMean(table.label, table.source, Decimal("2.28"), 1, 0)


def test_a_chart_reading_has_no_value_in_a_table() -> None:
    assert substitution("lange_2009").value_for(read_acuity("6/9", bare=None)) is None


def test_no_fraction_has_a_zero() -> None:
    with pytest.raises(BadValue) as refused:
        logmar_from_decimal(Decimal(0))
    assert refused.value.message == (
        "Both parts of an acuity must be above zero; no sight is a category, not a number."
    )


def test_a_reading_is_a_value_or_a_category_and_never_both_or_neither() -> None:
    for facts in ({}, {"logmar": Decimal(0), "category": Category.HAND_MOVEMENTS}):
        with pytest.raises(BadValue) as refused:
            Acuity("6/6", METRE, **facts)
        assert refused.value.message == "A reading is either a value on a chart or a category below it."


def test_a_refusal_carries_its_reason_as_its_word() -> None:
    refusal = UnreadableAcuity("No.", Reason.NEAR)
    assert (refusal.field, refusal.code, refusal.reason) == ("acuity", "near", Reason.NEAR)


def test_nobody_has_no_mean() -> None:
    with pytest.raises(BadValue, match=r"^There is no reading on a chart to average\.$"):
        mean_logmar([])
