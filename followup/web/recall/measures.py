"""How well recall works, month by month, on a page and as a sheet from the same rows."""

from __future__ import annotations

import csv

from django.http import HttpResponse
from django.views.decorators.http import require_safe

from followup.domain.roles import Action
from followup.queries.reports.audit_tables import Table
from followup.queries.reports.recall_measures import recall_measures
from followup.queries.reports.recall_tables import recall_tables, sheet_rows
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, needs
from followup.web.kit.pages import page


@require_safe
@needs(Action.AUDIT)
def measures(request: StaffRequest) -> HttpResponse:
    return page(request, "recall/measures.html", {"tables": _tables(request)})


@require_safe
@needs(Action.AUDIT)
def measures_csv(request: StaffRequest) -> HttpResponse:
    name = f"recall-{clock.today(request.site):%Y-%m-%d}.csv"
    headers = {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "private, no-cache"}
    response = HttpResponse(content_type="text/csv; charset=utf-8", headers=headers)
    csv.writer(response).writerows(sheet_rows(_tables(request)))
    return response


def _tables(request: StaffRequest) -> list[Table]:
    return recall_tables(recall_measures(site=request.site, today=clock.today(request.site)))
