"""The recall list and the oil list as sheets, in the order of the lists."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from typing import TypeAlias

from followup.queries.oil import OilRow
from followup.queries.recall import RecallRow
from followup.queries.standing import EyeStandingRow

SheetCell: TypeAlias = str | int

_WHO = ("record_number", "family_name", "given_name", "birth_date", "side", "only_eye")
RECALL_HEADINGS = (
    *_WHO,
    "standing",
    "since",
    "days_past",
    "next_step",
    "window_opens",
    "window_closes",
    "why_first",
    "contact_step",
    "contact_due",
    "phone",
    "email",
    "language",
    "contact_note",
    "last_attempt",
    "last_attempt_by",
    "last_attempt_result",
    "surgeon",
)
OIL_HEADINGS = (
    *_WHO,
    "tamponade",
    "placed_on",
    "first_placed_on",
    "days_in_eye",
    "window_opens",
    "limit",
    "days_past_limit",
    "kept_until",
    "kept_by",
    "kept_because",
    "theatre_on",
    "standing",
    "phone",
)


def recall_sheet(rows: Iterable[RecallRow], today: date) -> Iterator[Sequence[SheetCell]]:
    """days_past: whole days overdue, 0 for an eye that is not."""
    yield RECALL_HEADINGS
    for row in rows:
        standing, patient = row.row.standing, row.patient
        window = row.leading.milestone if row.leading else None
        past = (today - standing.since).days if standing.standing == "overdue" and standing.since else 0
        made = row.last_attempt
        yield (
            *_who(row.row),
            standing.standing.label,
            _day(standing.since),
            past,
            "; ".join(lane.next_step for lane in standing.lanes) or standing.next_step,
            _day(window.opens if window else None),
            _day(window.closes if window else None),
            "; ".join(row.row.priority.reasons),
            row.rung.step.title if row.rung else "",
            _day(row.rung.due if row.rung else None),
            patient.phone,
            patient.email,
            patient.language,
            patient.contact_note,
            _day(made.day if made else None),
            made.get_channel_display() if made else "",
            made.get_result_display() if made else "",
            row.surgeon,
        )


def oil_sheet(rows: Iterable[OilRow]) -> Iterator[Sequence[SheetCell]]:
    yield OIL_HEADINGS
    for row in rows:
        yield (
            *_who(row.row),
            row.fill.tamponade.label,
            _day(row.fill.placed_on),
            _day(row.fill.first_placed_on),
            row.days_in_eye,
            _day(row.removal.opens if row.removal else None),
            _day(row.removal.closes if row.removal else None),
            max(row.days_past_limit, 0),
            _day(row.kept.review_on if row.kept else None),
            row.kept_by,
            row.kept_because,
            _day(row.theatre.day if row.theatre else None),
            row.row.standing.standing.label,
            row.row.eye.patient.phone,
        )


def _who(row: EyeStandingRow) -> tuple[SheetCell, ...]:
    eye, patient = row.eye, row.eye.patient
    return (
        patient.record_number,
        patient.family_name,
        patient.given_name,
        _day(patient.birth_date),
        eye.get_side_display(),
        "yes" if eye.only_eye else "no",
    )


def _day(day: date | None) -> str:
    return day.isoformat() if day else ""
