"""The planned reviews in force."""

from __future__ import annotations

from django.http import HttpResponse
from django.views.decorators.http import require_safe

from followup.domain.roles import Action
from followup.queries.pathways import active_pathways
from followup.web.kit.access import StaffRequest, needs
from followup.web.kit.pages import page


@require_safe
@needs(Action.SEE_LISTS)
def pathways(request: StaffRequest) -> HttpResponse:
    return page(request, "pathway/pathways.html", {"pathways": active_pathways()})
