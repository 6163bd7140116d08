"""The history: one row for every action, with the values before and after. Rows are added, never edited."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db.models import Model

from followup.models import Change, Patient, Site, Staff


def snapshot(instance: Model, fields: Iterable[str] | None = None) -> dict[str, Any]:
    """The values of these fields, by default all, as JSON can hold them; a related record as its id."""
    names = fields if fields is not None else [field.name for field in instance._meta.concrete_fields]
    return json_safe({name: _value(instance, name) for name in names})


def json_safe(values: Mapping[str, Any]) -> dict[str, Any]:
    """Dates in ISO 8601, decimals and UUIDs as text."""
    safe: dict[str, Any] = json.loads(json.dumps(values, cls=DjangoJSONEncoder))
    return safe


def record_change(
    *,
    by: Staff | None,
    at: datetime,
    site: Site,
    verb: str,
    subject: Model,
    patient: Patient | None = None,
    before: dict[str, Any] | None = None,
    after: dict[str, Any] | None = None,
) -> Change:
    """Writes one row of history. `by` is None for the night's work; `before` is empty for a new record."""
    return Change.objects.create(
        at=at,
        by=by,
        site=site,
        patient=patient,
        verb=verb,
        subject=subject._meta.model_name or "",
        subject_id=subject.pk,
        before=json_safe(before or {}),
        after=json_safe(after or {}),
    )


def _value(instance: Model, name: str) -> Any:
    return getattr(instance, getattr(instance._meta.get_field(name), "attname", name))
