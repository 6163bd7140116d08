"""The history of a person as people read it: codes as words, and only what an action changed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from followup.domain import words
from followup.models import Change, Eye, Session, Staff

_TERMS: dict[str, type[words.Term]] = {
    "side": words.Side,
    "sex": words.Sex,
    "staphyloma": words.YesNo,
    "indication": words.Indication,
    "tamponade_in": words.Tamponade,
    "repeat": words.Repeat,
    "extent": words.Extent,
    "attached_at_end": words.YesNo,
    "date_precision": words.DatePrecision,
    "procedures": words.Procedure,
    "retina": words.Retina,
    "hole": words.Hole,
    "outer_retina": words.OuterRetina,
    "lens": words.Lens,
    "tamponade_seen": words.TamponadeSeen,
    "complications": words.Complication,
    "lane": words.Lane,
    "state": words.AppointmentState,
    "cancelled_by": words.CancelledBy,
    "channel": words.Channel,
    "result": words.ContactResult,
    "reason": words.NotAttending,
    "kind": words.DecisionKind,
}
_SAID_ELSEWHERE = frozenset({"sequence", "starts_at", "appointment", "visit"})
"""Numbers that mean nothing to a reader; what they stand for has its own row or value."""


@dataclass(frozen=True, slots=True)
class ChangeRow:
    at: datetime
    by: str
    what: str
    before: tuple[tuple[str, str], ...]
    """Pairs (name, value in words)."""
    after: tuple[tuple[str, str], ...]


def change_rows(changes: Sequence[Change]) -> list[ChangeRow]:
    """Each change in words. Needs its author at hand; three more queries for all of them together."""
    names = _Names.of(changes)
    return [
        ChangeRow(
            at=change.at,
            by=str(change.by) if change.by else "The night's work",
            what=change.verb.replace("_", " ").capitalize(),
            before=tuple(_told(change.before, change.after, names)),
            after=tuple(_told(change.after, change.before, names)),
        )
        for change in changes
    ]


@dataclass(frozen=True, slots=True)
class _Names:
    """Names for the numbers of other records."""

    staff: Mapping[int, str]
    eyes: Mapping[int, str]
    sessions: Mapping[int, str]

    @classmethod
    def of(cls, changes: Iterable[Change]) -> _Names:
        values = [side for change in changes for side in (change.before, change.after)]
        staff = {value.get(name) for value in values for name in ("surgeon", "signed_by")}
        eyes, sessions = ({value.get(name) for value in values} for name in ("eye", "session"))
        return cls(
            {row.pk: str(row) for row in Staff.objects.filter(pk__in=staff - {None})},
            {row.pk: row.get_side_display() for row in Eye.objects.filter(pk__in=eyes - {None})},
            {row.pk: row.title for row in Session.objects.filter(pk__in=sessions - {None})},
        )

    def find(self, name: str) -> Mapping[int, str] | None:
        kinds = {"surgeon": self.staff, "signed_by": self.staff, "eye": self.eyes, "session": self.sessions}
        return kinds.get(name)


def _told(values: dict[str, Any], other: dict[str, Any], names: _Names) -> Iterable[tuple[str, str]]:
    for name, value in values.items():
        said = "" if name in _SAID_ELSEWHERE else _in_words(name, value, names)
        if said and not (other and name in other and other[name] == value):
            yield name.replace("_", " ").capitalize(), said


def _in_words(name: str, value: Any, names: _Names) -> str:
    """A value as text; "" where there is nothing to say."""
    if value is None or value == "" or value == "not_examined":
        return ""
    if isinstance(value, bool):
        return "Yes" if value else "No"
    if isinstance(value, list):
        return _list_in_words(name, value, names)
    if isinstance(value, dict):
        parts = ((key, _in_words(key, part, names)) for key, part in value.items())
        return "; ".join(f"{key.replace('_', ' ')}: {said}" for key, said in parts if said)
    known = names.find(name)
    if known is not None:
        return known.get(value, f"No. {value}")
    return _term(name, str(value))


def _list_in_words(name: str, values: list[Any], names: _Names) -> str:
    if name == "acuities":
        return ", ".join(f"{written} ({words.Correction(code).label})" for written, code in values)
    between = " | " if name == "exams" else ", "
    return between.join(_in_words(name, value, names) for value in values)


def _term(name: str, value: str) -> str:
    terms = _TERMS.get(name)
    return terms(value).label if terms and value in terms.codes() else value
