"""Letters on paper: what they say, in both languages, and where the address stands."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader

from followup.domain.words import LetterKind
from followup.interchange.letters.compose import Letter, compose_letter
from followup.interchange.letters.sheet import FONTS, print_letters
from followup.models import Appointment, Patient, Session, Site
from followup.queries.letters import LetterRow

DAY = date(2026, 3, 2)
NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
MM = 72 / 25.4


def patient(**fields: str) -> Patient:
    site = Site(
        name="Harbour Eye Clinic",
        address="12 Quay Street\nPort Said",
        phone="+20 2 555 0100",
        urgent_phone="+20 2 555 0199",
    )
    dull = {"given_name": "Amal", "family_name": "Farouk", "postal_address": "7 Palm Lane\n42512 Port Said"}
    return Patient(site=site, record_number="R00017", **dull | fields)


def row(kind: LetterKind, **fields: str) -> LetterRow:
    person = patient(**fields)
    if kind is LetterKind.APPOINTMENT:
        session = Session(title="Retina clinic", site=person.site)
        place = Appointment(patient=person, session=session, day=date(2026, 3, 9), local_time=time(9, 20))
        return LetterRow(kind, person, place)
    return LetterRow(kind, person, side="right", since=date(2025, 11, 3))


def letter(kind: LetterKind, **fields: str) -> Letter:
    return compose_letter(row(kind, **fields), day=DAY)


def pages(*letters: Letter) -> list[str]:
    return [page.extract_text() for page in PdfReader(BytesIO(print_letters(letters, now=NOW))).pages]


def placed(written: bytes) -> dict[str, tuple[float, float]]:
    """Where each piece of text begins on the first page: millimetres from the left and the upper edge."""
    found: dict[str, tuple[float, float]] = {}

    def keep(text: str, current: list[float], matrix: list[float], font: object, size: float) -> None:
        if text.strip():
            found[text.strip()] = (matrix[4] / MM, 297 - matrix[5] / MM)

    PdfReader(BytesIO(written)).pages[0].extract_text(visitor_text=keep)
    return found


def test_a_letter_holds_sender_recipient_date_and_number() -> None:
    made = letter(LetterKind.APPOINTMENT)
    assert made.sender == (
        "Harbour Eye Clinic",
        "12 Quay Street",
        "Port Said",
        "Telephone: +20 2 555 0100",
        "Out of hours: +20 2 555 0199",
    )
    assert made.recipient == ("Amal Farouk", "7 Palm Lane", "42512 Port Said")
    assert made.reference == (("Date", "2 March 2026"), ("Record number", "R00017"))
    assert made.subject == "Your appointment on Monday 9 March 2026 at 09:20"


@pytest.mark.parametrize("kind", list(LetterKind))
@pytest.mark.parametrize("language", ["English", "Arabic"])
def test_every_letter_says_what_must_not_wait_and_whom_to_ring(kind: LetterKind, language: str) -> None:
    made = letter(kind, language=language)
    assert "+20 2 555 0100" in made.urgent
    assert "+20 2 555 0199" in made.urgent
    assert ("same-day care" in made.urgent) == (language == "English")
    assert ("في اليوم نفسه" in made.urgent) == (language == "Arabic")


@pytest.mark.parametrize("kind", list(LetterKind))
def test_an_arabic_letter_is_arabic_throughout(kind: LetterKind) -> None:
    made = letter(kind, language="Arabic")
    told = " ".join([made.subject, *made.paragraphs, made.urgent, made.closing[0]]).replace(
        "Retina clinic", ""
    )
    assert [sign for sign in told if sign.isascii() and sign.isalpha()] == []


def test_only_the_warning_names_the_eye() -> None:
    assert "your RIGHT eye." in " ".join(letter(LetterKind.OIL).paragraphs)
    assert "العين اليمنى." in " ".join(letter(LetterKind.OIL, language="Arabic").paragraphs)
    for kind in [LetterKind.APPOINTMENT, LetterKind.NOT_REACHED]:
        told = " ".join(letter(kind).paragraphs).lower()
        assert [word for word in ["right", "left", "oil", "silicone"] if word in told.split()] == []


def test_a_batch_is_one_document_with_a_page_a_letter() -> None:
    texts = pages(*(letter(kind) for kind in LetterKind))
    assert [text.count("Amal Farouk") for text in texts] == [1, 1, 1]
    assert "We could not reach you" in texts[1]


def test_the_address_stands_in_the_window_and_nothing_else_does() -> None:
    """DIN 5008:2020, form B: the field begins 20 mm from the left and 45 mm from the top, 85 by 45 mm."""
    found = placed(print_letters([letter(LetterKind.OIL)], now=NOW))
    inside = {text for text, (x, y) in found.items() if 20 <= x < 105 and 45 <= y < 90}
    assert inside - {"Harbour Eye Clinic"} == {"Amal Farouk", "7 Palm Lane", "42512 Port Said"}
    assert found["Amal Farouk"][1] > 62.7


def test_long_letters_run_on_to_a_second_page() -> None:
    made = letter(LetterKind.OIL, postal_address="1 Quay")
    long = Letter(**{name: getattr(made, name) for name in made.__slots__} | {"paragraphs": ("word " * 900,)})
    assert len(pages(long)) == 2


@pytest.mark.parametrize("name", ["Özgür Ünal", "Łukasz Żak", "Νίκος Παπάς", "Иван Петров", "أمل فاروق"])
@pytest.mark.parametrize("language", ["English", "Arabic"])
def test_a_name_in_another_alphabet_finds_its_letters(name: str, language: str, caplog) -> None:
    print_letters([letter(LetterKind.OIL, given_name=name, family_name="", language=language)], now=NOW)
    assert "glyph" not in caplog.text.lower()
    assert "missing" not in caplog.text.lower()


def test_the_same_letters_give_the_same_bytes() -> None:
    twice = [print_letters([letter(LetterKind.OIL, language="Arabic")], now=NOW) for _ in range(2)]
    assert twice[0] == twice[1]


def test_the_fonts_come_with_their_licence() -> None:
    assert "SIL OPEN FONT LICENSE Version 1.1" in (Path(FONTS) / "OFL.txt").read_text(encoding="utf-8")
