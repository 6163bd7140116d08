"""Oil and heavy liquid in place, worst first."""

from __future__ import annotations

from django.http import HttpResponse
from django.views.decorators.http import require_safe

from followup.domain.roles import Action
from followup.queries.list_sheets import oil_sheet
from followup.queries.oil import tamponade_in_place
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, needs
from followup.web.kit.pages import page
from followup.web.kit.paging import page_of
from followup.web.kit.sheets import sheet_response


@require_safe
@needs(Action.SEE_LISTS)
def oil(request: StaffRequest) -> HttpResponse:
    rows = tamponade_in_place(site=request.site, day=clock.today(request.site))
    return page(request, "oil/oil.html", {"rows": page_of(request, rows)})


@require_safe
@needs(Action.SEE_LISTS)
def sheet(request: StaffRequest, kind: str) -> HttpResponse:
    """The whole list."""
    rows = tamponade_in_place(site=request.site, day=clock.today(request.site))
    return sheet_response(request, oil_sheet(rows), kind, what="oil_list")
