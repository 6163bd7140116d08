"""Every form in which acuity is written: read as it stands, or left to a person with the reason."""

from __future__ import annotations

import csv
from decimal import Decimal
from pathlib import Path

import pytest

from followup.domain.acuity.notation import Acuity, Category, Notation, Reason, UnreadableAcuity
from followup.domain.acuity.parse import pinhole_without_improvement, propose_readings, read_acuity
from followup.domain.acuity.refusals import is_missing
from followup.domain.words import Correction

FIXTURES = Path(__file__).parents[3] / "fixtures" / "acuity"
CF, HM = Category.COUNTING_FINGERS, Category.HAND_MOVEMENTS
LP, NLP = Category.LIGHT_PERCEPTION, Category.NO_LIGHT_PERCEPTION


def rows(name: str) -> list[dict[str, str]]:
    with (FIXTURES / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def written(row: dict[str, str]) -> str:
    """A name for a row in plain letters, so that its test can be asked for by name."""
    return row["text"].replace("\\", "|").encode("ascii", "xmlcharrefreplace").decode()


def outcome(text: str, bare: Notation | None = None) -> str:
    """In short: the logMAR to four places, "category, distance", or "refused: reason"."""
    try:
        reading = read_acuity(text, bare=bare)
    except UnreadableAcuity as refusal:
        return f"refused: {refusal.reason}"
    if reading.category:
        return ", ".join(str(part) for part in (reading.category, reading.distance) if part)
    return str(reading.logmar_4dp)


# A column with its traps; without a declared notation a number alone is never read.
COLUMN = {
    "6/9-2": "0.2161",
    "20/40+1": "0.2810",
    "20/20+": "0.0000",
    "6/9p": "0.1761",
    "6/18 -3": "0.5371",
    "CF": "counting_fingers",
    "CF 1m": "counting_fingers, 1 m",
    "CF@3'": "counting_fingers, 3 ft",
    "FC 50cm": "counting_fingers, 50 cm",
    "HM": "hand_movements",
    "HMM 30 cm": "hand_movements, 30 cm",
    "PL": "light_perception",
    "LP good projection": "light_perception",
    "NPL": "no_light_perception",
    "NLP": "no_light_perception",
    "no PL": "no_light_perception",
    "0.5": "refused: ambiguous",
    "0,5": "refused: ambiguous",
    "1.0": "refused: ambiguous",
    "1": "refused: ambiguous",
    "0": "refused: ambiguous",
    "85": "refused: ambiguous",
    "70": "refused: ambiguous",
    "96 letters": "-0.2200",
    "logMAR 0.2": "0.2000",
    "-0.1": "refused: ambiguous",
    "6/9 6/12": "refused: two_readings",
    "PH 6/9": "0.1761",
    "6/6 PH 6/5": "refused: two_readings",
    "06/09/2024": "refused: date",
    "3/60": "1.3010",
    "5/200": "1.6021",
    "20/70": "0.5441",
    "prosthesis": "prosthesis",
    "-9": "refused: missing_code",
    "70%": "refused: percent",
    "NI": "refused: no_improvement",
    "1st 20/30": "refused: unrecognised",
}


@pytest.mark.parametrize("row", rows("acuity_strings.csv"), ids=written)
def test_a_column_with_every_trap(row: dict[str, str]) -> None:
    assert outcome(row["text"]) == COLUMN[row["text"]]


# Where the four converters give no formula value or disagree: our outcome, and why it is so.
COUNTED = "0.02 a letter, the step of a five-letter chart, marked approximate; others round or leave it out"
UNCOUNTED = "the line's value with a flag: nobody said how many letters"
ALONE = "decimal, logMAR and letters share these numbers, and one converter reads 1.0 as one letter"
NAMED = "the text names its scale"
NO_NUMBER = "a category and its distance; the converters' numbers run from 1.33 to 3.0 for the same words"
ABSENT = "nothing was measured"
NOT_SIGHT = "a date, a near chart, behaviour or an eye's name is no acuity, whatever digits it holds"
DISAGREEMENTS = {
    COUNTED: {
        "6/9-2": "0.2161", "6/9 +1": "0.1561", "6/6-1": "0.0200", "20/40+2": "0.2610", "20/40-1": "0.3210",
        "20/50-3": "0.4579", "20/30 +3 -1": "refused: partial",
    },
    UNCOUNTED: {"6/6p": "0.0000", "6/9 partial": "0.1761", "6/12(p)": "0.3010"},
    ALONE: dict.fromkeys(
        ("1.0", "0.9", "0.8", "0.5", "0,5", "0.3", "0.1", "0.05", "0.02", "0.01", "35", "70", "85", "0",
        "-0.1",
         "0.30", "20"),
        "refused: ambiguous",
    ),
    NAMED: {"78 letters": "0.1400", "83 ltrs": "0.0400", "LogMAR 0.3": "0.3000"},
    NO_NUMBER: {
        "CF": "counting_fingers", "cf": "counting_fingers", "CF 1m": "counting_fingers, 1 m",
        "CF@1m": "counting_fingers, 1 m", "CF 50 cm": "counting_fingers, 50 cm",
        "CF at 2ft": "counting_fingers, 2 ft", "CF 3ft": "counting_fingers, 3 ft", "FC": "counting_fingers",
        "count fingers": "counting_fingers", "counting fingers": "counting_fingers", "HM": "hand_movements",
        "hm": "hand_movements", "Hand movements": "hand_movements", "hand motion": "hand_movements",
        "HMCF": "refused: unrecognised", "PL": "light_perception", "LP": "light_perception",
        "LP with projection": "light_perception", "PL+": "light_perception", "NPL": "no_light_perception",
        "NLP": "no_light_perception", "NO LP": "no_light_perception", "no PL": "no_light_perception",
        "nulla lux": "no_light_perception", "Handbewegung": "hand_movements", "prosthesis": "prosthesis",
    },
    "two readings in one cell are proposed, never picked from": {
        "6/9 ph 6/6": "refused: two_readings", "20/40 ph 20/25": "refused: two_readings",
    },
    "a pinhole is a state of correction beside the value": {"PH 6/9": "0.1761"},
    "no improvement repeats a value that stands elsewhere": {"NI": "refused: no_improvement"},
    ABSENT: {
        "N/A": "refused: missing", "NA": "refused: missing", "-": "refused: missing", "": "refused: missing",
        "not done": "refused: missing",
    },
    "may mean no light or not measured": {"unable": "refused: maybe_missing", ".": "refused: unrecognised"},
    "a mistyped slash is for a person": {"6-9": "refused: separator", "6\\9": "refused: separator"},
    "another script or width says the same": {"\uff16\uff0f\uff19": "0.1761", "6\uff0f9": "0.1761"},
    NOT_SIGHT: {
        "06/09/2024": "refused: date", "6/9/2024": "refused: date", "9-Jun": "refused: date",
        "20/20 OD": "refused: unrecognised", "J1": "refused: near", "J1+": "refused: near",
        "N6": "refused: near",
        "F&F": "refused: behaviour", "CSM": "refused: behaviour", "E": "refused: behaviour",
    },
    "spelled-out glasses are a state of correction; a trailing c may be anything": {
        "cc 6/9": "0.1761", "6/9 (with glasses)": "0.1761", "6/12c": "refused: unrecognised",
    },
}  # fmt: skip
OURS = {text: expected for group in DISAGREEMENTS.values() for text, expected in group.items()}


@pytest.mark.parametrize("row", rows("strings_through_four_converters.csv"), ids=written)
def test_strings_on_which_converters_differ(row: dict[str, str]) -> None:
    # Where the text is a plain fraction, its formula decides and no row of a chart does.
    formula = row["formula_logmar"]
    expected = f"{Decimal(formula) + 0:.4f}" if formula else OURS[row["text"]]
    assert outcome(row["text"]) == expected


BARE = [
    ("0.5", Notation.DECIMAL, "0.3010"),
    ("0,5", Notation.DECIMAL, "0.3010"),
    ("0,63", Notation.DECIMAL, "0.2007"),
    (".5", Notation.DECIMAL, "0.3010"),
    ("1", Notation.DECIMAL, "0.0000"),
    ("1,0", Notation.DECIMAL, "0.0000"),
    ("0.6667", Notation.DECIMAL, "0.1761"),
    ("0.333333333333333", Notation.DECIMAL, "0.4771"),
    ("0,667", Notation.DECIMAL, "0.1759"),
    ("1,250", Notation.DECIMAL, "refused: ambiguous"),
    ("0", Notation.DECIMAL, "refused: out_of_range"),
    ("-0.1", Notation.DECIMAL, "refused: out_of_range"),
    ("3", Notation.DECIMAL, "refused: out_of_range"),
    ("4.9", Notation.DECIMAL, "refused: out_of_range"),
    ("0.004", Notation.DECIMAL, "refused: out_of_range"),
    ("85", Notation.DECIMAL, "refused: out_of_range"),
    ("0.8p", Notation.DECIMAL, "0.0969"),
    ("0.8-2", Notation.DECIMAL, "0.1369"),
    ("0.8+", Notation.DECIMAL, "0.0969"),
    ("0.5-1", Notation.DECIMAL, "refused: ambiguous"),
    ("0.5-0.6", Notation.DECIMAL, "refused: range"),
    ("0.1 to 0.2", Notation.DECIMAL, "refused: range"),
    ("0.5 0.6", Notation.DECIMAL, "refused: two_readings"),
    ("66%", Notation.DECIMAL, "refused: percent"),
    ("60/6", Notation.DECIMAL, "refused: reversed"),
    ("6\\9", Notation.DECIMAL, "refused: separator"),
    ("6-9", Notation.DECIMAL, "refused: separator"),
    ("0.5", Notation.LOGMAR, "0.5000"),
    ("1.0", Notation.LOGMAR, "1.0000"),
    ("0", Notation.LOGMAR, "0.0000"),
    ("-0.1", Notation.LOGMAR, "-0.1000"),
    ("0.60000002", Notation.LOGMAR, "0.6000"),
    ("2.7", Notation.LOGMAR, "refused: out_of_range"),
    ("-0.6", Notation.LOGMAR, "refused: out_of_range"),
    ("70", Notation.LOGMAR, "refused: out_of_range"),
    ("0.3-2", Notation.LOGMAR, "refused: partial"),
    ("85", Notation.LETTERS, "0.0000"),
    ("70", Notation.LETTERS, "0.3000"),
    ("70.0", Notation.LETTERS, "0.3000"),
    ("0", Notation.LETTERS, "1.7000"),
    ("100", Notation.LETTERS, "-0.3000"),
    ("101", Notation.LETTERS, "refused: out_of_range"),
    ("70.5", Notation.LETTERS, "refused: out_of_range"),
    ("-9", Notation.LETTERS, "refused: missing_code"),
    ("+8", Notation.LETTERS, "refused: ambiguous"),
    (",5", Notation.DECIMAL, "refused: unrecognised"),
    ("-99", Notation.LOGMAR, "refused: missing_code"),
    ("999", Notation.LETTERS, "refused: missing_code"),
    ("6/9", Notation.LETTERS, "0.1761"),
    ("0.5", Notation.SNELLEN_METRE, "refused: ambiguous"),
]


@pytest.mark.parametrize(("text", "bare", "expected"), BARE)
def test_a_bare_number_means_what_its_column_declares(text: str, bare: Notation, expected: str) -> None:
    assert outcome(text, bare) == expected


@pytest.mark.parametrize(
    ("text", "readings"),
    [
        ("0.5", ["decimal 0.5 (logMAR 0.3010)", "logMAR 0.5"]),
        ("1.0", ["decimal 1.0 (logMAR 0.0000)", "logMAR 1.0"]),
        ("70", ["letters 70 (logMAR 0.3000)"]),
        ("-0.1", ["logMAR -0.1"]),
    ],
)
def test_an_ambiguous_number_is_refused_naming_its_readings(text: str, readings: list[str]) -> None:
    with pytest.raises(UnreadableAcuity) as refusal:
        read_acuity(text, bare=None)
    assert all(reading in refusal.value.message for reading in readings)
    assert "Say which the column uses" in refusal.value.message


# More of every kind.
WRITTEN = [
    ("4/40", "1.0000"), ("1/40", "1.6021"), ("5/9.5", "0.2788"), ("10/200", "1.3010"), ("6/7,5", "0.0969"),
    ("0.5/60", "2.0792"), ("20/2000", "2.0000"), ("6/9.", "0.1761"), ("V: 6/9", "0.1761"),
    ("VA 6/9", "0.1761"),
    ("va 20/40-2", "0.3410"), ("6/6 +2", "-0.0400"), ("6/6(-2)", "0.0400"), ("6/9 - 2", "0.2161"),
    ("6/9-2 letters", "0.2161"), ("6/9-0", "0.1761"), ("6/60-5", "1.1000"), ("6/9-6", "refused: partial"),
    ("20/40-1+2", "refused: partial"), ("6/9-2.5", "refused: unrecognised"),
    ("6/9/", "refused: unrecognised"),
    ("logMAR 0.3", "0.3000"), ("0.3 logMAR", "0.3000"), ("logmar: 0,3", "0.3000"), ("LOGMAR=-0.1", "-0.1000"),
    ("logMAR 2.7", "refused: out_of_range"), ("70 letters", "0.3000"), ("70L", "0.3000"),
    ("ETDRS 70", "0.3000"),
    ("70 ETDRS letters", "0.3000"), ("letters: 70", "0.3000"), ("101 letters", "refused: out_of_range"),
    ("+8 letters", "refused: ambiguous"), ("PH,6/9", "0.1761"), ("V, 6/9", "0.1761"),
    (".2/6", "refused: unrecognised"),
    ("logMAR,2", "refused: unrecognised"), ("6/9(-", "refused: unrecognised"),
    ("PL//", "refused: unrecognised"),
    ("6/9(p)", "0.1761"), ("-9 letters", "refused: out_of_range"), ("0.5 decimal", "0.3010"),
    ("dec 0.5", "0.3010"),
    ("6/0", "refused: out_of_range"), ("0/60", "refused: out_of_range"), ("6/6000", "refused: out_of_range"),
    ("60/6", "refused: reversed"), ("6/2", "refused: reversed"), ("40/40", "refused: reversed"),
    ("06/09", "refused: date"), ("2024-06-09", "refused: date"), ("2024-06-09 00:00:00", "refused: date"),
    ("Jun-36", "refused: date"), ("9 June 2024", "refused: date"), ("6.9.2024", "refused: date"),
    ("6/60 to 6/36", "refused: range"), ("6/60-6/36", "refused: range"),
    ("6/9, 6/12", "refused: two_readings"),
    ("6/36 PH NI", "refused: two_readings"), ("PHNI", "refused: no_improvement"),
    ("6/l2", "refused: lookalike"), ("O.5", "refused: lookalike"), ("2O/40", "refused: lookalike"),
    ("6/9?", "refused: unsure"), ("nil", "refused: maybe_missing"), ("#REF!", "refused: unrecognised"),
    ("=6/9", "refused: unrecognised"), ("12345", "refused: unrecognised"),
    ("6/9" * 30, "refused: unrecognised"),
    ("CF at 2 feet", "counting_fingers, 2 ft"), ("CF 1/2 m", "counting_fingers, 0.5 m"),
    ("CF \u00bd m", "counting_fingers, 0.5 m"), ("1 m CF", "counting_fingers, 1 m"),
    ("c.f. 1m", "counting_fingers, 1 m"), ("CF (30 cm)", "counting_fingers, 30 cm"),
    ('HM 6"', "hand_movements, 6 in"),
    ("CFCF", "counting_fingers"), ("CF close to face", "counting_fingers"),
    ("HM 50cm", "hand_movements, 50 cm"),
    ("HM 0,5 m", "hand_movements, 0.5 m"), ("CF 1", "refused: distance"), ("CF 1-2 m", "refused: distance"),
    ("CF 10 m", "refused: distance"), ("CF 0 m", "refused: distance"), ("CF/HM", "refused: unrecognised"),
    ("PL+ PR+", "light_perception"), ("PL in 4 quadrants", "light_perception"),
    ("LP, inaccurate projection", "light_perception"), ("perception of light", "light_perception"),
    ("PL no", "refused: unrecognised"), ("PL-", "refused: ambiguous"), ("PL?", "refused: unsure"),
    ("PL negative", "no_light_perception"), ("No light perception", "no_light_perception"),
    ("N.P.L.", "no_light_perception"), ("no perception of light", "no_light_perception"),
    ("artificial eye", "prosthesis"), ("phthisis bulbi", "phthisis"), ("enucleated", "enucleated"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "expected"), WRITTEN)
def test_other_ways_of_writing_the_same(text: str, expected: str) -> None:
    assert outcome(text) == expected


@pytest.mark.parametrize(
    ("text", "notation"),
    [
        ("6/9", Notation.SNELLEN_METRE), ("3/60", Notation.SNELLEN_METRE), ("4/40", Notation.SNELLEN_METRE),
        ("20/30", Notation.SNELLEN_FOOT), ("5/200", Notation.SNELLEN_FOOT), ("8/10", Notation.FRACTION),
        ("1/10", Notation.FRACTION), ("logMAR 0.2", Notation.LOGMAR), ("70 letters", Notation.LETTERS),
        ("HM", Notation.CATEGORY),
    ],
)  # fmt: skip
def test_the_notation_is_kept(text: str, notation: Notation) -> None:
    assert read_acuity(text, bare=None).notation is notation


def test_letters_beside_a_line_are_kept_and_marked_approximate() -> None:
    reading = read_acuity("6/9-2", bare=None)
    assert (reading.partial_letters, reading.partial_uncounted, reading.approximate) == (-2, False, True)
    assert read_acuity("6/9", bare=None).approximate is False


@pytest.mark.parametrize("text", ["20/20+", "6/9p", "6/9 part", "6/9 (p)", "6/9-"])
def test_a_partial_line_without_a_count_keeps_its_value_and_a_flag(text: str) -> None:
    reading = read_acuity(text, bare=None)
    assert (reading.partial_letters, reading.partial_uncounted) == (None, True)


@pytest.mark.parametrize(
    ("text", "correction"),
    [
        ("PH 6/9", Correction.PINHOLE), ("6/9 PH", Correction.PINHOLE), ("6/9 (ph)", Correction.PINHOLE),
        ("pinhole: 6/9-2", Correction.PINHOLE), ("6/9 with pinhole", Correction.PINHOLE),
        ("BCVA 20/25", Correction.BEST), ("UCVA 20/25", Correction.UNAIDED),
        ("sc 0.5 decimal", Correction.UNAIDED),
        ("6/9 (with glasses)", Correction.HABITUAL), ("cc 6/9", None), ("6/9", None),
    ],
)  # fmt: skip
def test_the_correction_is_only_what_the_text_says(text: str, correction: Correction | None) -> None:
    # A pinhole is never taken for best corrected, and "with correction" does not tell which.
    assert read_acuity(text, bare=None).correction is correction


def test_projection_is_kept_beside_light_perception() -> None:
    assert read_acuity("LP good projection", bare=None).note == "good projection"


def test_zero_letters_ask_for_a_second_look() -> None:
    assert "fingers" in read_acuity("0", bare=Notation.LETTERS).note


@pytest.mark.parametrize(
    "text", ["", " ", "-", "NA", "N/A", "n/a", "nan", "None", "NULL", "not done", "ND", "\u2013"]
)
def test_words_for_missing(text: str) -> None:
    assert is_missing(text)


@pytest.mark.parametrize("text", ["nil", "0", "NLP", "-9", "NI", "unable", "6/9"])
def test_what_may_be_a_finding_is_not_missing(text: str) -> None:
    assert not is_missing(text)


def test_a_code_for_missing_belongs_to_its_column() -> None:
    assert is_missing("-9", codes=frozenset({"-9"}))
    assert is_missing("\u22129", codes=frozenset({"-9"}))
    assert is_missing("lost", codes=frozenset({"Lost", "?"}))


def summary(readings: tuple[Acuity, ...]) -> list[tuple[str, Correction | None]]:
    return [(str(reading.logmar_4dp), reading.correction) for reading in readings]


@pytest.mark.parametrize(
    ("text", "proposed"),
    [
        ("6/6 PH 6/5", [("0.0000", None), ("-0.0792", Correction.PINHOLE)]),
        ("6/9ph6/6", [("0.1761", None), ("0.0000", Correction.PINHOLE)]),
        ("20/40, PH 20/25-1", [("0.3010", None), ("0.1169", Correction.PINHOLE)]),
        ("CF 1m PH 6/60", [("None", None), ("1.0000", Correction.PINHOLE)]),
        ("6/36 PH NI", [("0.7782", None), ("0.7782", Correction.PINHOLE)]),
        ("6/9", [("0.1761", None)]),
        ("6/9 6/12", []),
        ("PH NI", []),
        ("soft", []),
        ("0.5 PH 0.8", []),
    ],
)
def test_readings_in_one_cell_are_proposed(text: str, proposed: list[tuple[str, Correction | None]]) -> None:
    assert summary(propose_readings(text, bare=None)) == proposed


def test_proposals_use_the_notation_of_the_column() -> None:
    readings = propose_readings("0.5 PH 0.8", bare=Notation.DECIMAL)
    assert summary(readings) == [("0.3010", None), ("0.0969", Correction.PINHOLE)]


def test_no_improvement_repeats_the_unaided_value() -> None:
    pinhole = pinhole_without_improvement(read_acuity("6/36", bare=None))
    assert (str(pinhole.logmar_4dp), pinhole.correction) == ("0.7782", Correction.PINHOLE)
    assert pinhole.note == "No improvement with pinhole."


def test_a_refusal_says_what_to_do() -> None:
    with pytest.raises(UnreadableAcuity) as refusal:
        read_acuity("60/6", bare=None)
    assert refusal.value.reason is Reason.REVERSED
    assert refusal.value.message == "60/6 may be turned round (6/60?). Write the test distance first."
    assert refusal.value.field == "acuity"
