"""How well recall works, month by month, on a page and as a sheet from the same rows."""

from __future__ import annotations

from csp.constants import UNSAFE_INLINE
from csp.decorators import csp_update
from django.http import HttpResponse
from django.views.decorators.http import require_safe

from followup.domain.roles import Action
from followup.interchange.sheets.write import csv_text
from followup.queries.reports.audit_tables import Table
from followup.queries.reports.recall_measures import Month, recall_measures
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
    written = csv_text(sheet_rows(_tables(request)))
    return HttpResponse(written, content_type="text/csv; charset=utf-8", headers=headers)


@csp_update({"style-src": [UNSAFE_INLINE]})
@require_safe
@needs(Action.AUDIT)
def measures_svg(request: StaffRequest) -> HttpResponse:
    """Opened by itself the drawing needs its own inline styles, which no other page allows."""
    # Imported here: the drawing library takes a second to load, which no other page should wait for.
    from followup.web.recall.figures import draw

    drawn = draw(_months(request), request.site.name)
    return HttpResponse(drawn, content_type="image/svg+xml", headers={"Cache-Control": "private, no-cache"})


def _tables(request: StaffRequest) -> list[Table]:
    return recall_tables(_months(request))


def _months(request: StaffRequest) -> list[Month]:
    return recall_measures(site=request.site, today=clock.today(request.site))
