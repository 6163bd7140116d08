"""Every action leaves one row that JSON can hold."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from decimal import Decimal

import pytest

from followup.models import Change
from followup.services.history import record_change, snapshot
from tests.builders import NOW, make_appointment, make_eye, make_session, make_site, make_staff


@pytest.mark.django_db
def test_a_snapshot_holds_dates_decimals_and_related_records_as_json_can() -> None:
    eye = make_eye(axial_length_mm=Decimal("27.50"), side="left")
    assert snapshot(eye, ["side", "axial_length_mm", "patient"]) == {
        "side": "left",
        "axial_length_mm": "27.50",
        "patient": eye.patient_id,
    }
    place = make_appointment(
        session=make_session(site=make_site(time_zone="Africa/Cairo"), day=date(2026, 3, 9), starts=time(9))
    )
    shown = snapshot(place, ["day", "local_time", "starts_at", "uid", "eye"])
    assert shown == {
        "day": "2026-03-09",
        "local_time": "09:00:00",
        "starts_at": "2026-03-09T09:00:00+02:00",
        "uid": str(place.uid),
        "eye": None,
    }


@pytest.mark.django_db
def test_a_snapshot_without_names_holds_every_field() -> None:
    assert set(snapshot(make_site())) == {field.name for field in make_site()._meta.concrete_fields}


@pytest.mark.django_db
def test_a_change_says_who_did_what_to_what_and_when() -> None:
    eye = make_eye()
    by = make_staff(site=eye.patient.site)
    record_change(
        by=by,
        at=NOW,
        site=eye.patient.site,
        verb="look",
        subject=eye,
        patient=eye.patient,
        after={"day": date(2026, 3, 2)},
    )
    change = Change.objects.get()
    assert (change.by, change.at, change.site, change.patient) == (by, NOW, eye.patient.site, eye.patient)
    assert (change.verb, change.subject, change.subject_id) == ("look", "eye", eye.pk)
    assert (change.before, change.after) == ({}, {"day": "2026-03-02"})
    assert change.at == datetime(2026, 3, 2, 9, tzinfo=UTC)
