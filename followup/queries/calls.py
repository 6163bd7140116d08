"""The telephone day: whom to reach today, one call a person, and how much of the day is done."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from followup.domain.ladder import Rung
from followup.models import CallClaim, ContactAttempt, Patient, Site, Staff
from followup.queries.recall import RecallRow, Wanted, recall_list


@dataclass(frozen=True, slots=True)
class Call:
    """One person with every eye they are to be reached about; both eyes and all milestones are one call."""

    patient: Patient
    rows: tuple[RecallRow, ...]
    """Most pressing first."""
    rung: Rung
    """The step that is due first."""
    held_by: Staff | None = None
    """Who is on the telephone with them at this moment."""

    @property
    def attempts(self) -> tuple[ContactAttempt, ...]:
        return self.rows[0].attempts


@dataclass(frozen=True, slots=True)
class TelephoneDay:
    calls: tuple[Call, ...]
    """Still to be made, most pressing first."""
    done: int
    """People whom somebody tried to reach today and who are not to be tried again today."""

    @property
    def left(self) -> int:
        return len(self.calls)

    def call_of(self, patient: Patient) -> Call | None:
        return next((call for call in self.calls if call.patient == patient), None)


def telephone_day(*, site: Site, day: date, now: datetime) -> TelephoneDay:
    """Everybody for whom a step of the ladder is due by `day`. Constant query count."""
    rows = recall_list(site=site, day=day, wanted=Wanted(call_due=True))
    people: dict[int, list[RecallRow]] = {}
    for row in rows:
        people.setdefault(row.patient.pk, []).append(row)
    held = _held(site, now)
    calls = tuple(_call(mine, held.get(pk)) for pk, mine in people.items())
    tried = ContactAttempt.objects.filter(patient__site=site, day=day, made_by__isnull=False)
    reached = set(tried.values_list("patient_id", flat=True))
    return TelephoneDay(calls, len(reached - people.keys()))


def _call(rows: Sequence[RecallRow], held_by: Staff | None) -> Call:
    rungs = [row.rung for row in rows if row.rung]
    return Call(rows[0].patient, tuple(rows), min(rungs, key=lambda rung: rung.due), held_by)


def _held(site: Site, now: datetime) -> dict[int, Staff]:
    claims = CallClaim.objects.filter(patient__site=site, until__gt=now).select_related("by")
    return {claim.patient_id: claim.by for claim in claims}


def held_by(staff: Staff, now: datetime) -> Patient | None:
    """The person that this caller was with last, while the claim lasts."""
    claims = CallClaim.objects.filter(by=staff, until__gt=now).select_related("patient__site")
    claim = claims.order_by("-until").first()
    return claim.patient if claim else None


def holder_of(patient: Patient, now: datetime) -> Staff | None:
    """Who is on the telephone with this person at this moment."""
    claim = CallClaim.objects.filter(patient=patient, until__gt=now).select_related("by").first()
    return claim.by if claim else None
