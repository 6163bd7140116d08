"""Rendering a page inside the frame: navigation by role, the site, the search box."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render

from followup.domain.roles import Action, may
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest
from followup.web.kit.navigation import places_for


def page(request: StaffRequest, template: str, context: dict[str, Any] | None = None) -> HttpResponse:
    """The template with `site`, `sites`, `today`, `places`, and `allowed` (names of permitted actions)."""
    role = request.user.role
    frame: dict[str, Any] = {
        "site": request.site,
        "sites": request.sites,
        "today": clock.today(request.site),
        "places": places_for(role, request.path),
        "allowed": {action.value for action in Action if may(role, action)},
    }
    return render(request, template, frame | (context or {}))
