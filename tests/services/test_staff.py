"""Sites, and the people who work there."""

from __future__ import annotations

from typing import Any

import pytest

from followup.domain.errors import FollowUpError, NotAllowed
from followup.models import Change, Site, Staff
from followup.services.staff import add_site, add_staff, change_site, change_staff, set_password
from tests.builders import NOW, make_site, make_staff
from tests.services.conftest import Clinic, last_change

GOOD = "nine blue herons"


def add(clinic: Clinic, **fields: Any) -> Staff:
    dull: dict[str, Any] = {"username": "newcomer", "role": "surgeon", "sites": [clinic.site]}
    return add_staff(by=clinic.administrator, now=NOW, **dull | fields)


def test_a_newcomer_may_sign_in_at_their_sites(clinic: Clinic) -> None:
    staff = add(clinic, password=GOOD, given_name="Ada", family_name="Field")
    assert staff.check_password(GOOD)
    assert (staff.role, str(staff), list(staff.sites.all())) == ("surgeon", "Ada Field", [clinic.site])
    assert not staff.is_staff
    assert not staff.is_superuser
    change = last_change()
    assert (change.verb, change.site, change.after["sites"]) == (
        "add_staff",
        clinic.site,
        ["Harbour Eye Clinic"],
    )
    assert GOOD not in str(change.after)


def test_without_a_password_nobody_signs_in(clinic: Clinic) -> None:
    assert not add(clinic).has_usable_password()


@pytest.mark.parametrize(
    ("fields", "code", "field"),
    [
        ({"username": " "}, "missing", "username"),
        ({"username": "TAKEN"}, "username_taken", "username"),
        ({"username": "a b"}, "invalid", "username"),
        ({"role": "king"}, "unknown_code", "role"),
        ({"sites": []}, "no_site", "sites"),
        ({"password": "short"}, "weak_password", "password"),
        ({"password": "password123"}, "weak_password", "password"),
        ({"email": "x"}, "invalid", "email"),
    ],
)
def test_a_newcomer_is_refused(clinic: Clinic, fields: dict[str, Any], code: str, field: str) -> None:
    make_staff(username="taken")
    before = Staff.objects.count()
    with pytest.raises(FollowUpError) as refused:
        add(clinic, **fields)
    assert (refused.value.code, refused.value.field) == (code, field)
    assert Staff.objects.count() == before
    assert not Change.objects.exists()


def test_a_colleague_leaves_and_changes_sites(clinic: Clinic) -> None:
    other = make_site(name="Hill Clinic")
    change_staff(
        by=clinic.administrator,
        now=NOW,
        staff=clinic.surgeon,
        role="auditor",
        sites=[other],
        is_active=False,
    )
    clinic.surgeon.refresh_from_db()
    assert (clinic.surgeon.role, clinic.surgeon.is_active, list(clinic.surgeon.sites.all())) == (
        "auditor",
        False,
        [other],
    )
    assert (last_change().before["role"], last_change().after["role"]) == ("surgeon", "auditor")


@pytest.mark.parametrize(("role", "is_active"), [("surgeon", True), ("administrator", False)])
def test_nobody_shuts_themselves_out(clinic: Clinic, role: str, is_active: bool) -> None:
    with pytest.raises(FollowUpError) as refused:
        change_staff(
            by=clinic.administrator,
            now=NOW,
            staff=clinic.administrator,
            role=role,
            sites=[clinic.site],
            is_active=is_active,
        )
    assert refused.value.code == "own_rights"


def test_a_password_is_set_by_its_owner_or_an_administrator(clinic: Clinic) -> None:
    for by in (clinic.surgeon, clinic.administrator, None):
        assert set_password(by=by, now=NOW, staff=clinic.surgeon, password=GOOD).check_password(GOOD)
    assert (last_change().verb, last_change().after) == ("set_password", {})
    with pytest.raises(NotAllowed):
        set_password(by=clinic.coordinator, now=NOW, staff=clinic.surgeon, password=GOOD)


def test_a_site_is_added_and_its_settings_changed(clinic: Clinic) -> None:
    site = add_site(by=None, now=NOW, name="Hill Clinic", time_zone="Asia/Tokyo", horizon_days=28)
    changed = change_site(by=clinic.administrator, now=NOW, site=site, horizon_days=56, name="Hill Clinic")
    assert (changed.horizon_days, changed.time_zone) == (56, "Asia/Tokyo")
    assert (last_change().before, last_change().after) == ({"horizon_days": 28}, {"horizon_days": 56})


@pytest.mark.parametrize(
    ("fields", "code", "field"),
    [
        ({"time_zone": "Mars/Base"}, "time_zone", "time_zone"),
        ({"name": "Harbour Eye Clinic"}, "invalid", "name"),
        ({"name": ""}, "invalid", "name"),
        ({"bare_acuity": "feet"}, "invalid", "bare_acuity"),
    ],
)
def test_a_site_is_refused(clinic: Clinic, fields: dict[str, Any], code: str, field: str) -> None:
    wanted = {"name": "Hill Clinic", "time_zone": "UTC"} | fields
    with pytest.raises(FollowUpError) as refused:
        add_site(by=clinic.administrator, now=NOW, **wanted)
    assert (refused.value.code, refused.value.field) == (code, field)
    assert list(Site.objects.all()) == [clinic.site]


@pytest.mark.parametrize("role", ["coordinator", "surgeon"])
def test_only_an_administrator_manages_sites_and_staff(clinic: Clinic, role: str) -> None:
    by = getattr(clinic, role)
    with pytest.raises(NotAllowed):
        add_site(by=by, now=NOW, name="x", time_zone="UTC")
    with pytest.raises(NotAllowed):
        change_site(by=by, now=NOW, site=clinic.site, phone="1")
    with pytest.raises(NotAllowed):
        add_staff(by=by, now=NOW, username="x", role="auditor", sites=[clinic.site])
    with pytest.raises(NotAllowed):
        change_staff(
            by=by, now=NOW, staff=clinic.surgeon, role="auditor", sites=[clinic.site], is_active=True
        )
