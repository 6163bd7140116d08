"""A clinic with its people and pathways."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest
from django.conf import settings

from followup.models import Change, Eye, PathwayVersion, Patient, Site, Staff
from followup.services.pathway import load_pathways, replan_eye
from tests.builders import make_eye, make_oil_operation, make_operation, make_patient, make_site, make_staff


@dataclass(frozen=True)
class Clinic:
    site: Site
    coordinator: Staff
    surgeon: Staff
    administrator: Staff

    def patient(self, **fields: object) -> Patient:
        return make_patient(site=self.site, **fields)

    def eye(self, *, patient: Patient | None = None, side: str = "right", **operation: object) -> Eye:
        """An eye with an operation that left gas in it, planned."""
        eye = make_eye(patient=patient or self.patient(), side=side)
        make_operation(eye=eye, **operation)
        replan_eye(eye_id=eye.pk)
        return eye

    def oil_eye(self, *, patient: Patient | None = None, side: str = "right", **operation: object) -> Eye:
        """An eye with an operation that left silicone oil in it, planned."""
        eye = make_eye(patient=patient or self.patient(), side=side)
        make_oil_operation(eye=eye, **operation)
        replan_eye(eye_id=eye.pk)
        return eye


_accepted: list[dict[str, object]] = []


def shipped_pathways() -> None:
    """Checks and stores the shipped pathways; later tests store what was checked, since checking is slow."""
    if _accepted:
        PathwayVersion.objects.bulk_create(PathwayVersion(**row) for row in _accepted)
        return
    load_pathways(folder=Path(settings.BASE_DIR) / "fixtures" / "pathways")
    _accepted.extend(PathwayVersion.objects.values("key", "version", "title", "text", "active"))


def make_clinic() -> Clinic:
    shipped_pathways()
    site = make_site(name="Harbour Eye Clinic", time_zone="Africa/Cairo")
    return Clinic(
        site,
        make_staff(role="coordinator", site=site),
        make_staff(role="surgeon", site=site),
        make_staff(role="administrator", site=site),
    )


@pytest.fixture
def clinic(db: None) -> Clinic:
    return make_clinic()


def last_change() -> Change:
    return Change.objects.latest("id")
