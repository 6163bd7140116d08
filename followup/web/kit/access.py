"""Who may open a page, at which site, and what happens to a look that is refused."""

from __future__ import annotations

import logging
from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec, TypeVar, cast

from django.core.exceptions import ObjectDoesNotExist, PermissionDenied
from django.db.models import Model
from django.http import Http404, HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils.cache import add_never_cache_headers

from followup.domain.errors import FollowUpError
from followup.domain.roles import Action, may
from followup.models import Patient, Site, Staff
from followup.queries import access
from followup.queries.people import patient_behind
from followup.services.reads import record_read
from followup.web.kit import clock

logger = logging.getLogger(__name__)
P = ParamSpec("P")
Record = TypeVar("Record", bound=Model)
SITE_IN_SESSION = "site"


class StaffRequest(HttpRequest):
    """A request that `needs` let through: who asks, where they work, and at which site they are now."""

    user: Staff
    sites: list[Site]
    site: Site  # type: ignore[assignment]  # the stubs mean the sites of a framework that is not installed


View = Callable[Concatenate[StaffRequest, P], HttpResponseBase]


def needs(action: Action | None) -> Callable[[View[P]], Callable[..., HttpResponseBase]]:
    """Only for roles that may take this action (None: every role), at a site where they work; else 403."""

    def guard(view: View[P]) -> Callable[..., HttpResponseBase]:
        @wraps(view)
        def guarded(request: HttpRequest, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
            known = cast(StaffRequest, request)
            if action is not None and not may(known.user.role, action):
                raise PermissionDenied("Your role may not do this. Ask an administrator of your clinic.")
            known.sites = list(access.sites_of(known.user).order_by("name", "id"))
            if not known.sites:
                raise PermissionDenied("You have no clinic yet. Ask an administrator to add you to one.")
            known.site = _chosen(known)
            try:
                response = view(known, *args, **kwargs)
            except FollowUpError as fault:
                logger.warning("%s refused: %s", request.path, fault.message)
                response = render(request, "kit/refused.html", {"fault": fault.message}, status=409)
            return _not_kept(response)

        cast(Any, guarded).action = action
        return guarded

    return guard


def _not_kept(response: HttpResponseBase) -> HttpResponseBase:
    """After signing out, the back button of a shared machine shows nobody's record."""
    if not response.has_header("Cache-Control"):
        add_never_cache_headers(response)
    return response


def _chosen(request: StaffRequest) -> Site:
    chosen = request.session.get(SITE_IN_SESSION)
    return next((site for site in request.sites if site.pk == chosen), request.sites[0])


def find(request: StaffRequest, getter: Callable[[Staff, int], Record], pk: int) -> Record:
    """The record, or 404. A look at another site's record is kept, for a person to ask about."""
    try:
        return getter(request.user, pk)
    except ObjectDoesNotExist as missing:
        patient = patient_behind(missing, pk)
        if patient is not None:
            log_read(request, patient, refused=True)
        raise Http404("No such record at your clinic.") from None


def log_read(request: StaffRequest, patient: Patient, *, refused: bool = False) -> None:
    """Keep that this person opened, or was refused, a page of this patient."""
    record_read(by=request.user, now=clock.now(), patient=patient, page=request.path, refused=refused)
