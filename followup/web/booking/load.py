"""The load ahead, week by week."""

from __future__ import annotations

from django.http import HttpResponse
from django.views.decorators.http import require_safe

from followup.domain.roles import Action
from followup.queries.reports.load import load_ahead
from followup.queries.reports.load_model import RUNS
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, needs
from followup.web.kit.pages import page

SEED = 20_260_302
"""Fixed, so that the page shows the same figures whenever the facts are the same."""


@require_safe
@needs(Action.SEE_LISTS)
def load(request: StaffRequest) -> HttpResponse:
    reports = load_ahead(site=request.site, day=clock.today(request.site), seed=SEED)
    return page(request, "booking/load.html", {"reports": reports, "runs": RUNS})
