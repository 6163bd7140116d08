"""The day at a glance."""

from __future__ import annotations

from django.http import HttpResponse
from django.views.decorators.http import require_safe

from followup.web.kit.access import StaffRequest, needs
from followup.web.kit.pages import page


@require_safe
@needs(None)
def home(request: StaffRequest) -> HttpResponse:
    return page(request, "home/home.html")
