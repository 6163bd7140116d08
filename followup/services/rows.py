"""Rows as every service handles them: locked before they are judged, checked before they are saved."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeVar

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db.models import Model

from followup.domain.errors import BadValue, NotAllowed, Refused
from followup.domain.roles import PERMITTED, Action, Role, may
from followup.domain.words import Term
from followup.models import Staff
from followup.services.history import snapshot

Row = TypeVar("Row", bound=Model)
Word = TypeVar("Word", bound=Term)


def locked(row: Row) -> Row:
    """The row as it is now, held until the transaction ends.

    Locks are taken in one order, so that two actions never wait for each other: site, patient, session,
    appointment.
    Rows that only refer to this one are not held up by it. SQLite has no row locks and needs none: its
    write transactions begin IMMEDIATE, one at a time.
    """
    return type(row)._default_manager.select_for_update(no_key=True).get(pk=row.pk)


def save_valid(row: Model) -> None:
    """Saves a row that passes its own checks; else raises BadValue, naming the first field at fault."""
    try:
        row.full_clean()
    except ValidationError as fault:
        field, messages = next(iter(fault.message_dict.items()))
        raise BadValue(
            " ".join(messages), field="" if field == NON_FIELD_ERRORS else field, code="invalid"
        ) from fault
    row.save()


def set_fields(row: Row, values: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Sets these fields in memory and returns (before, after) of those that differ; both empty if none do."""
    old = snapshot(row, values)
    for name, value in values.items():
        setattr(row, name, value)
    new = snapshot(row, values)
    differing = [name for name in values if old[name] != new[name]]
    return {name: old[name] for name in differing}, {name: new[name] for name in differing}


def known(words: type[Word], code: str, *, field: str) -> Word:
    """The word of this code; BadValue for any other, naming it and the codes there are."""
    try:
        return words(code)
    except ValueError:
        raise BadValue(
            f'"{code}" is not a known {field.replace("_", " ")}. Choose one of: {", ".join(words.codes())}.',
            field=field,
            code="unknown_code",
        ) from None


def required(text: str, *, field: str, message: str) -> str:
    """The text without outer blanks; Refused with this message when nothing is left."""
    stripped = text.strip()
    if not stripped:
        raise Refused(message, field=field, code="missing")
    return stripped


def need_role(by: Staff, action: Action) -> None:
    """NotAllowed unless this person's role may take the action: pages ask too, a signature asks again."""
    if not may(by.role, action):
        able = " or ".join(role.label.lower() for role in Role if role in PERMITTED[action])
        raise NotAllowed(f"Only a {able} may do this. You are signed in as {by.get_role_display().lower()}.")
