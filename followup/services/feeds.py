"""Secret calendar addresses of a site: made, shown once, revoked."""

from __future__ import annotations

import secrets
from datetime import datetime

from django.db import transaction

from followup.domain.errors import BadValue, Refused
from followup.domain.roles import Action
from followup.domain.words import SessionKind
from followup.models import CalendarAddress, Site, Staff
from followup.queries.access import hash_of_token
from followup.queries.cohorts import surgeons_at
from followup.services.history import record_change, snapshot
from followup.services.rows import known, locked, need_role, required, save_valid

_SHOWN = ("label", "session_kind", "surgeon", "revoked_at")


@transaction.atomic
def make_calendar_address(
    *, by: Staff, now: datetime, site: Site, label: str, session_kind: str = "", surgeon: str = ""
) -> tuple[CalendarAddress, str]:
    """A new address and its token. The token is shown once: only its hash is kept.

    session_kind, surgeon: which part of the site's calendar it shows; empty for all of it. Raises NotAllowed
    for a role that does not manage the site, Refused without a label, BadValue for an unknown kind and for a
    surgeon who operated on no eye here.
    """
    need_role(by, Action.MANAGE_SITE)
    if surgeon and surgeon not in dict(surgeons_at(site)):
        raise BadValue(
            "This surgeon has no operation on record at this clinic. Choose one of the list.", field="surgeon"
        )
    token = secrets.token_urlsafe(32)
    address = CalendarAddress(
        site=site,
        label=required(
            label, field="label", message="Say who will use this address, for example the ward screen."
        ),
        session_kind=known(SessionKind, session_kind, field="session_kind").value if session_kind else "",
        surgeon=surgeon,
        token_hash=hash_of_token(token),
        made_by=by,
        made_at=now,
    )
    save_valid(address)
    record_change(
        by=by,
        at=now,
        site=site,
        verb="make_calendar_address",
        subject=address,
        after=snapshot(address, _SHOWN),
    )
    return address, token


@transaction.atomic
def revoke_calendar_address(*, by: Staff, now: datetime, address: CalendarAddress) -> CalendarAddress:
    """Whoever holds the address sees nothing from now on. Raises Refused if it was revoked already."""
    need_role(by, Action.MANAGE_SITE)
    address = locked(address)
    if address.revoked_at is not None:
        raise Refused(f'The address "{address.label}" was revoked already.', code="already_revoked")
    before = snapshot(address, _SHOWN)
    address.revoked_at = now
    save_valid(address)
    record_change(
        by=by,
        at=now,
        site=address.site,
        verb="revoke_calendar_address",
        subject=address,
        before=before,
        after=snapshot(address, _SHOWN),
    )
    return address
