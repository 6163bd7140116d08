"""Which letters wait to be printed, and why one cannot be."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Exists, OuterRef, prefetch_related_objects

from followup.domain.dates.zones import day_bounds
from followup.domain.standing import closing_decision
from followup.domain.words import AppointmentState, Channel, DecisionKind, LetterKind, Standing
from followup.models import Appointment, Eye, Patient, PrintedLetter, Site
from followup.queries.contact import refuses
from followup.queries.oil import tamponade_in_place
from followup.queries.standing import EyeStandingRow, site_standings

FAILED_BEFORE_A_LETTER = 3
"""Two calls and a message come first (common practice, no source)."""

AGAIN_AFTER = timedelta(days=28)
"""The same letter is not offered again sooner (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class LetterRow:
    """One letter that could be printed."""

    kind: LetterKind
    patient: Patient
    appointment: Appointment | None = None
    side: str = ""
    since: date | None = None
    """The day the oil was put in."""

    @property
    def key(self) -> str:
        """What a tick in the list stands for; one letter of a kind for a person or an appointment."""
        about = self.appointment.pk if self.appointment else f"{self.patient.pk}{self.side}"
        return f"{self.kind.value}-{about}"


def letters_to_print(*, site: Site, day: date) -> list[LetterRow]:
    """Letters of appointments ahead, then to people not reached, then warnings of oil left in an eye."""
    return [*_appointment_letters(site, day), *_unreached_letters(site, day)]


def why_not(patient: Patient) -> str:
    """Why no letter may go to this person, or can; empty if one may. Needs the site at hand."""
    if patient.died_on is not None:
        return f"{patient} died on {patient.died_on:%-d %b %Y}."
    if refuses(patient, Channel.LETTER):
        return f"{patient} withdrew consent to letters."
    if not patient.postal_address.strip():
        return f"No postal address of {patient} is on record. Add it to their details."
    return ""


def appointment_letter(appointment: Appointment) -> LetterRow:
    return LetterRow(LetterKind.APPOINTMENT, appointment.patient, appointment)


def oil_letter(eye: Eye, day: date) -> LetterRow | None:
    """None for an eye that holds no oil or heavy liquid on record."""
    rows = site_standings(site=eye.patient.site, day=day, eye_ids=[eye.pk])
    fill = rows[0].state.fill if rows else None
    if fill is None or not fill.must_come_out:
        return None
    return LetterRow(LetterKind.OIL, eye.patient, side=eye.side, since=fill.placed_on)


def _appointment_letters(site: Site, day: date) -> list[LetterRow]:
    printed = PrintedLetter.objects.filter(appointment=OuterRef("pk"), sequence=OuterRef("sequence"))
    ahead = (
        Appointment.objects.filter(
            ~Exists(printed),
            patient__site=site,
            patient__died_on=None,
            day__gt=day,
            state=AppointmentState.BOOKED.value,
        )
        .select_related("patient__site", "session")
        .prefetch_related("patient__consents")
    )
    return [appointment_letter(place) for place in ahead.order_by("day", "local_time", "id")]


def _unreached_letters(site: Site, day: date) -> list[LetterRow]:
    """A warning for each eye in which oil was left; to the others, once, that we could not reach them."""
    left_in = {row.row.eye.pk: row.fill for row in tamponade_in_place(site=site, day=day) if not row.is_kept}
    warned, asked = {}, {}
    for row in _out_of_reach(site, day):
        patient, fill = row.eye.patient, left_in.get(row.eye.pk)
        patient.site = site
        if fill is not None:
            warned[row.eye.pk] = LetterRow(LetterKind.OIL, patient, side=row.eye.side, since=fill.placed_on)
        elif row.standing.standing is not Standing.CLOSED:
            asked[patient.pk] = LetterRow(LetterKind.NOT_REACHED, patient)
    for letter in warned.values():
        asked.pop(letter.patient.pk, None)
    prefetch_related_objects([row.patient for row in [*warned.values(), *asked.values()]], "consents")
    recent = _printed_since(site, day - AGAIN_AFTER)
    fresh = [row for row in [*warned.values(), *asked.values()] if (row.patient.pk, row.kind) not in recent]
    return sorted(fresh, key=lambda letter: (letter.kind, letter.patient.name, letter.key))


def _out_of_reach(site: Site, day: date) -> Iterator[EyeStandingRow]:
    """Eyes of people alive who were called in vain, or given up while oil may still be in the eye."""
    for row in site_standings(site=site, day=day):
        if row.eye.patient.died_on is None and (_is_given_up(row) or _is_silent(row, day)):
            yield row


def _is_given_up(row: EyeStandingRow) -> bool:
    signed = closing_decision(row.state.decisions, row.state.last_operation)
    return signed is not None and signed.kind in (DecisionKind.LOST, DecisionKind.REFUSED)


def _is_silent(row: EyeStandingRow, day: date) -> bool:
    """Overdue or in question, with nothing booked, and the last attempts reached nobody."""
    if row.standing.standing not in (Standing.OVERDUE, Standing.NEEDS_DECISION):
        return False
    seen = row.state.last_seen
    results = [attempt.result for attempt in row.state.attempts if seen is None or attempt.day > seen]
    last = results[-FAILED_BEFORE_A_LETTER:]
    in_vain = len(last) == FAILED_BEFORE_A_LETTER and not any(result.reached for result in last)
    return in_vain and not any(place.lies_ahead(day) for place in row.state.appointments)


def _printed_since(site: Site, day: date) -> set[tuple[int, str]]:
    first, _ = day_bounds(day, site.time_zone)
    letters = PrintedLetter.objects.filter(patient__site=site, printed_at__gte=first)
    return set(letters.values_list("patient_id", "kind"))
