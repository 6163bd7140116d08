"""Sites, and the people who work there."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date, datetime
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from followup.domain.dates.zones import zone
from followup.domain.errors import BadValue, Refused
from followup.domain.ladder import parse_ladder
from followup.domain.roles import Action, Role
from followup.models import Site, Staff
from followup.queries.holidays import public_holidays
from followup.queries.reminders import reminder_days
from followup.services.history import record_change, snapshot
from followup.services.rows import locked, need_role, required, save_valid, set_fields
from followup.services.wall_times import keep_wall_times

SITE_FIELDS = (
    "name",
    "time_zone",
    "phone",
    "urgent_phone",
    "horizon_days",
    "ladder",
    "bare_acuity",
    "digest_email",
    "digest_hour",
    "address",
    "language",
    "reminder_days",
    "reminder_minimum_hours",
    "quiet_from_hour",
    "quiet_until_hour",
    "country",
    "sessions_weeks_ahead",
    "curve_minimum_at_risk",
    "expected_recurrence_percent",
    "calendar_initials",
    "sends_invitations",
)
_SHOWN = ("username", "first_name", "last_name", "email", "role", "is_active")


@transaction.atomic
def add_site(*, by: Staff | None, now: datetime, name: str, time_zone: str, **fields: Any) -> Site:
    """A new clinic. `by` is None for a command run at the machine itself.

    Raises NotAllowed for a role that does not manage sites, BadValue for an unknown time zone or value.
    """
    if by is not None:
        need_role(by, Action.MANAGE_SITE)
    site = Site(name=name.strip(), time_zone=time_zone, **fields)
    _check(site)
    save_valid(site)
    record_change(by=by, at=now, site=site, verb="add_site", subject=site, after=snapshot(site, SITE_FIELDS))
    return site


@transaction.atomic
def change_site(*, by: Staff, now: datetime, site: Site, **fields: Any) -> Site:
    """Changes the named settings, any of SITE_FIELDS; nothing is written if no value differs. As add_site.

    With another time zone, visits ahead stay at their time on the wall.
    """
    need_role(by, Action.MANAGE_SITE)
    if unknown := set(fields) - set(SITE_FIELDS):
        raise TypeError(f"A site has no setting {', '.join(sorted(unknown))}.")
    site = locked(site)
    before, after = set_fields(site, fields)
    if not after:
        return site
    _check(site)
    save_valid(site)
    record_change(by=by, at=now, site=site, verb="change_site", subject=site, before=before, after=after)
    if "time_zone" in after:
        keep_wall_times(by=by, now=now, site=site)
    return site


def _check(site: Site) -> None:
    _check_zone(site)
    reminder_days(site)
    public_holidays(site.country, date(2026, 1, 1), date(2026, 12, 31))
    if site.ladder.strip():
        parse_ladder(site.ladder, "the ladder")


def _check_zone(site: Site) -> None:
    try:
        zone(site.time_zone)
    except BadValue as fault:
        raise BadValue(fault.message, field="time_zone", code="time_zone") from fault


@transaction.atomic
def add_staff(
    *,
    by: Staff | None,
    now: datetime,
    username: str,
    role: str,
    sites: Collection[Site],
    password: str = "",
    given_name: str = "",
    family_name: str = "",
    email: str = "",
    may_enter_admin: bool = False,
) -> Staff:
    """Somebody new who signs in; without a password they cannot until one is set.

    Raises NotAllowed for a role that does not manage staff, Refused for a name that is taken or no site,
    BadValue for an unknown role or a weak password.
    """
    if by is not None:
        need_role(by, Action.MANAGE_SITE)
    staff = Staff(
        username=required(username, field="username", message="Enter a name to sign in with."),
        role=_role(role),
        first_name=given_name.strip(),
        last_name=family_name.strip(),
        email=email.strip(),
        is_staff=may_enter_admin,
        is_superuser=may_enter_admin,
    )
    _check_name_is_free(staff)
    _set_password(staff, password)
    save_valid(staff)
    staff.sites.set(_at_least_one(sites))
    _record(by, now, staff, "add_staff", {}, _shown(staff))
    return staff


@transaction.atomic
def change_staff(
    *, by: Staff, now: datetime, staff: Staff, role: str, sites: Collection[Site], is_active: bool
) -> Staff:
    """Sets role, sites and whether they may sign in. As add_staff, and Refused for shutting oneself out."""
    need_role(by, Action.MANAGE_SITE)
    staff = locked(staff)
    if staff.pk == by.pk and not (is_active and _role(role) == by.role):
        raise Refused("You cannot take away your own rights. Ask another administrator.", code="own_rights")
    before = _shown(staff)
    staff.role, staff.is_active = _role(role), is_active
    save_valid(staff)
    staff.sites.set(_at_least_one(sites))
    after = _shown(staff)
    if before != after:
        _record(by, now, staff, "change_staff", before, after)
    return staff


@transaction.atomic
def set_password(*, by: Staff | None, now: datetime, staff: Staff, password: str) -> Staff:
    """A new password, set by the person or an administrator; neither old nor new is kept in the history."""
    if by is not None and by.pk != staff.pk:
        need_role(by, Action.MANAGE_SITE)
    staff = locked(staff)
    _set_password(staff, required(password, field="password", message="Enter a password."))
    staff.save(update_fields=["password"])
    _record(by, now, staff, "set_password", {}, {})
    return staff


def _role(role: str) -> str:
    try:
        return Role(role).value
    except ValueError:
        names = ", ".join(Role)
        raise BadValue(
            f'"{role}" is not a role. Choose one of: {names}.', field="role", code="unknown_code"
        ) from None


def _check_name_is_free(staff: Staff) -> None:
    if Staff.objects.filter(username__iexact=staff.username).exists():
        raise Refused(
            f'Somebody signs in as "{staff.username}" already. Choose another name.',
            field="username",
            code="username_taken",
        )


def _set_password(staff: Staff, password: str) -> None:
    if not password:
        staff.set_unusable_password()
        return
    try:
        validate_password(password, staff)
    except ValidationError as fault:
        raise BadValue(" ".join(fault.messages), field="password", code="weak_password") from fault
    staff.set_password(password)


def _at_least_one(sites: Collection[Site]) -> Collection[Site]:
    if not sites:
        raise Refused(
            "Choose at least one clinic: nobody sees anything without one.", field="sites", code="no_site"
        )
    return sites


def _shown(staff: Staff) -> dict[str, Any]:
    return snapshot(staff, _SHOWN) | {"sites": sorted(staff.sites.values_list("name", flat=True))}


def _record(
    by: Staff | None, now: datetime, staff: Staff, verb: str, before: dict[str, Any], after: dict[str, Any]
) -> None:
    site = staff.sites.order_by("name", "id").first()
    if site is None:
        raise Refused(f"{staff} works at no clinic. Add one first.", field="sites", code="no_site")
    record_change(by=by, at=now, site=site, verb=verb, subject=staff, before=before, after=after)
