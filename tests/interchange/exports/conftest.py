"""A clinic of everything that a cell can get wrong."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from followup.models import PathwayVersion, Site
from followup.services.pathway import replan_eye
from tests.builders import (
    make_acuity,
    make_exam,
    make_eye,
    make_operation,
    make_patient,
    make_site,
    make_visit,
)

FORMULA_NOTE = '=HYPERLINK("http://x.example","y")'


@pytest.fixture
def harbour(pathways: list[PathwayVersion]) -> Site:
    """One person with two eyes and everything that a cell can get wrong; one never operated on."""
    site = make_site(name="Harbour")
    patient = make_patient(
        site=site,
        record_number="0012",
        family_name="نصر",
        given_name="Amal, the younger",
        birth_date=date(1950, 2, 28),
        sex="female",
        phone="+447700900012",
        email="amal@example.org",
        language="ar",
        postal_address="4 Quay Row\nHarbour",
        time_zone="Africa/Cairo",
        contact_note="-ask for her son\nafter six",
    )
    right = make_eye(patient=patient, axial_length_mm=Decimal("31.20"), staphyloma="yes", only_eye=True)
    left = make_eye(patient=patient, side="left")
    make_operation(
        eye=right,
        date=date(2023, 3, 1),
        date_precision="month",
        surgeon_name="@Osric",
        indication="mhrd",
        procedures=("vitrectomy", "membrane_peel"),
        tamponade_in="oil_1000",
        extent="to_periphery",
        note=FORMULA_NOTE,
    )
    make_operation(
        eye=right,
        date=date(2023, 6, 1),
        indication="tamponade_removal",
        procedures=("oil_removal",),
        tamponade_in="none",
        takes_out=True,
        restarts=False,
    )
    make_operation(eye=left, date=date(2023, 6, 1), tamponade_in="sf6", tamponade_percent=20, repeat="repeat")
    make_operation(eye=left, date=date(2023, 6, 2), in_error=True)
    seen = make_visit(patient=patient, day=date(2023, 6, 8), note="two\nlines")
    exam = make_exam(
        eye=right,
        visit=seen,
        pressure_mmhg=14,
        retina="attached",
        lens="pseudophakic",
        note="+1 line, he says",
    )
    for correction, written, notation, logmar, category, approximate in (
        ("best", "6/9+1", "snellen_metre", "0.1561", "", True),
        ("unaided", "0.3", "logmar", "0.3000", "", False),
        ("pinhole", "0.5", "decimal", "0.3010", "", False),
        ("habitual", "70", "letters", "0.3000", "", False),
        ("unknown", "CF 1m", "category", None, "counting_fingers", False),
    ):
        make_acuity(
            exam=exam,
            correction=correction,
            as_written=written,
            notation=notation,
            logmar=logmar and Decimal(logmar),
            category=category,
            approximate=approximate,
        )
    recovered = make_exam(
        eye=left, visit=seen, pressure_text="soft", complications=("cataract", "epiretinal_membrane")
    )
    make_acuity(
        exam=recovered,
        correction="best",
        as_written="6/9",
        notation="snellen_metre",
        logmar=Decimal("0.1761"),
        approximate=True,
    )
    later = make_exam(eye=right, visit=make_visit(patient=patient, day=date(2023, 9, 1)))
    make_acuity(
        exam=later, correction="unaided", as_written="-0.10", notation="logmar", logmar=Decimal("-0.1")
    )
    make_patient(site=site, record_number="12", family_name="Never Seen")
    for eye in (right, left):
        replan_eye(eye_id=eye.pk)
    return site
