"""After each published file the standings add up to the operated eyes, and stored equals derived."""

from __future__ import annotations

from datetime import date

import pytest

from followup.models import Operation, Site
from followup.queries.standing import operated_eyes, site_standings, sum_of_standings
from followup.services.pathway import verify
from tests.interchange.sheets.helpers import SHEETS, saved_map, take_in

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("name", "eyes"),
    [
        ("macular_hole_surgery_benchmark", 104),
        ("diabetic_retinopathy_laser_trial", 394),
        ("nv_amd_2_years_semicolon", 1660),
    ],
)
def test_every_imported_eye_is_in_the_sum(site: Site, name: str, eyes: int) -> None:
    take_in(site, (SHEETS / f"{name}.csv").read_bytes(), saved_map(name))
    for day in (date(2016, 2, 29), date(2026, 11, 25)):
        rows = site_standings(site=site, day=day)
        assert sum(sum_of_standings(rows).values()) == len({row.eye.pk for row in rows}) == eyes
    assert operated_eyes(site).count() == Operation.objects.values("eye_id").distinct().count() == eyes
    assert list(verify()) == []
