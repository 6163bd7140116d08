"""Patients and their eyes."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db import transaction

from followup.domain.dates.zones import local_day, zone
from followup.domain.errors import BadValue, Refused
from followup.domain.words import Side, YesNo
from followup.models import Eye, Operation, Patient, Site, Staff, Visit
from followup.services.history import record_change, snapshot
from followup.services.pathway import replan_eye, replan_eyes
from followup.services.rows import known, locked, required, save_valid, set_fields

CHANGEABLE = (
    "record_number",
    "family_name",
    "given_name",
    "birth_date",
    "sex",
    "phone",
    "email",
    "language",
    "postal_address",
    "time_zone",
    "contact_note",
    "age_stated",
)


@transaction.atomic
def register_patient(
    *,
    by: Staff | None,
    now: datetime,
    site: Site,
    record_number: str,
    family_name: str = "",
    given_name: str = "",
    birth_date: date | None = None,
    sex: str = "unknown",
    phone: str = "",
    email: str = "",
    language: str = "",
    postal_address: str = "",
    time_zone: str = "",
    contact_note: str = "",
) -> Patient:
    """A new patient of the site.

    Raises Refused for a record number that is missing or taken, and for a birth in the future; BadValue for
    a value no field can hold.
    """
    patient = Patient(
        site=site,
        record_number=record_number,
        family_name=family_name.strip(),
        given_name=given_name.strip(),
        birth_date=birth_date,
        sex=sex,
        phone=phone.strip(),
        email=email.strip(),
        language=language.strip(),
        postal_address=postal_address.strip(),
        time_zone=time_zone.strip(),
        contact_note=contact_note.strip(),
    )
    locked(site)
    _check(patient, now)
    save_valid(patient)
    record_change(
        by=by,
        at=now,
        site=site,
        verb="register_patient",
        subject=patient,
        patient=patient,
        after=snapshot(patient, CHANGEABLE),
    )
    return patient


@transaction.atomic
def change_patient(*, by: Staff | None, now: datetime, patient: Patient, **fields: Any) -> Patient:
    """Changes the named fields, any of CHANGEABLE; writes nothing if no value differs.

    A death is recorded by `decisions.record_death`. Raises as `register_patient` does, and Refused for a
    birth date after an operation or a visit.
    """
    if unknown := set(fields) - set(CHANGEABLE):
        raise TypeError(f"A patient's {', '.join(sorted(unknown))} cannot be changed here.")
    locked(patient.site)
    patient = locked(patient)
    before, after = set_fields(patient, fields)
    if not after:
        return patient
    _check(patient, now)
    save_valid(patient)
    record_change(
        by=by,
        at=now,
        site=patient.site,
        verb="change_patient",
        subject=patient,
        patient=patient,
        before=before,
        after=after,
    )
    if {"birth_date", "age_stated"} & set(after):
        replan_eyes(eye_ids=[*patient.eyes.values_list("pk", flat=True)])
    return patient


def _check(patient: Patient, now: datetime) -> None:
    patient.record_number = required(
        patient.record_number, field="record_number", message="Enter the record number."
    )
    _check_number_is_free(patient)
    _check_zone(patient)
    if patient.birth_date is not None:
        _check_birth(patient, patient.birth_date, local_day(now, patient.site.time_zone))


def _check_zone(patient: Patient) -> None:
    if patient.time_zone:
        try:
            zone(patient.time_zone)
        except BadValue as fault:
            raise BadValue(fault.message, field="time_zone", code="time_zone") from fault


def _check_number_is_free(patient: Patient) -> None:
    same_number = Patient.objects.filter(site=patient.site, record_number=patient.record_number)
    holder = same_number.exclude(pk=patient.pk).first()
    if holder is not None:
        raise Refused(
            f"Record number {patient.record_number} belongs to {holder.name} already. "
            "Open that record, or check the number.",
            field="record_number",
            code="record_number_taken",
        )


def _check_birth(patient: Patient, born: date, today: date) -> None:
    if born > today:
        raise Refused(
            f"A birth on {born:%-d %b %Y} lies in the future. Check the year.",
            field="birth_date",
            code="born_in_the_future",
        )
    first = min(_days_on_record(patient), default=None)
    if first is not None and born > first:
        raise Refused(
            f"The birth date {born:%-d %b %Y} is after the first record of {first:%-d %b %Y}. "
            "Check both dates.",
            field="birth_date",
            code="born_after_first_record",
        )


def last_seen(patient: Patient) -> date | None:
    """The day of the last operation or visit on record."""
    return max(_days_on_record(patient), default=None)


def _days_on_record(patient: Patient) -> list[date]:
    if patient.pk is None:
        return []
    operations = Operation.objects.filter(eye__patient=patient, in_error=False).values_list("date", flat=True)
    visits = Visit.objects.filter(patient=patient, in_error=False).values_list("day", flat=True)
    return [*operations, *visits]


def ensure_eye(*, patient: Patient, side: str) -> Eye:
    """The right or left eye of this person, made where it has no row yet. BadValue for any other side."""
    eye, _ = Eye.objects.get_or_create(patient=patient, side=known(Side, side, field="side").value)
    return eye


@transaction.atomic
def change_eye(
    *,
    by: Staff | None,
    now: datetime,
    today: date,
    eye: Eye,
    axial_length_mm: Decimal | None,
    staphyloma: str,
    only_eye: bool,
) -> Eye:
    """Sets what is known of the eye itself and plans it anew, since a pathway may depend on it.

    axial_length_mm: 15 to 40 mm. Raises Refused for a length outside that, BadValue for an unknown code.
    """
    locked(eye.patient)
    eye = locked(eye)
    if axial_length_mm is not None and not 15 <= axial_length_mm <= 40:
        raise Refused(
            f"An axial length of {axial_length_mm} mm is not plausible: expected 15 to 40 mm.",
            field="axial_length_mm",
            code="axial_length_range",
        )
    wanted = {
        "axial_length_mm": axial_length_mm,
        "staphyloma": known(YesNo, staphyloma, field="staphyloma").value,
        "only_eye": only_eye,
    }
    before, after = set_fields(eye, wanted)
    if not after:
        return eye
    save_valid(eye)
    record_change(
        by=by,
        at=now,
        site=eye.patient.site,
        verb="change_eye",
        subject=eye,
        patient=eye.patient,
        before=before,
        after=after,
    )
    replan_eye(eye_id=eye.pk)
    return eye
