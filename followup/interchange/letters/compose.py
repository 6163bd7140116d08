"""What a letter says, in the language of the person it goes to."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.template.loader import render_to_string
from django.utils import translation
from django.utils.formats import date_format
from django.utils.translation import gettext

from followup.domain.words import Language
from followup.models import Site
from followup.queries.contact import language_for
from followup.queries.letters import LetterRow


@dataclass(frozen=True, slots=True)
class Letter:
    """A letter in words, ready to be set on paper."""

    language: Language
    sender: tuple[str, ...]
    """Name, address and telephones of the clinic, a line each."""
    recipient: tuple[str, ...]
    reference: tuple[tuple[str, str], ...]
    """Pairs of label and value, beside the address and outside the window."""
    subject: str
    paragraphs: tuple[str, ...]
    urgent: str
    closing: tuple[str, ...]


def compose_letter(row: LetterRow, *, day: date) -> Letter:
    """The letter as written on `day`."""
    patient, site = row.patient, row.patient.site
    language = language_for(patient)
    with translation.override(language.value):
        subject, *paragraphs = _paragraphs(row)
        return Letter(
            language=language,
            sender=(site.name, *_lines(site.address), *_telephones(site)),
            recipient=(
                f"{patient.given_name} {patient.family_name}".strip(),
                *_lines(patient.postal_address),
            ),
            reference=(
                (gettext("Date"), date_format(day, "j F Y")),
                (gettext("Record number"), patient.record_number),
            ),
            subject=subject,
            paragraphs=(gettext("Dear Sir or Madam,"), *paragraphs),
            urgent=" ".join(render_to_string("messages/_urgent.txt", {"site": site}).split()),
            closing=(gettext("Yours sincerely"), site.name),
        )


def _paragraphs(row: LetterRow) -> list[str]:
    """The first is the subject; blank lines in the template part them."""
    context = {"appointment": row.appointment, "side": row.side, "since": row.since}
    text = render_to_string(f"letters/{row.kind.value}.txt", context)
    return [" ".join(part.split()) for part in text.split("\n\n") if part.strip()]


def _lines(text: str) -> list[str]:
    return [line.strip() for line in text.splitlines() if line.strip()]


def _telephones(site: Site) -> list[str]:
    words = [
        (gettext("Telephone: %(phone)s"), site.phone),
        (gettext("Out of hours: %(phone)s"), site.urgent_phone),
    ]
    return [text % {"phone": number} for text, number in words if number]
