"""The cohort of an audit quarter by quarter: page, drawing and sheet from the same numbers."""

from __future__ import annotations

from csp.constants import UNSAFE_INLINE
from csp.decorators import csp_update
from django.http import HttpResponse
from django.views.decorators.http import require_safe

from followup.domain.roles import Action
from followup.interchange.sheets.write import csv_text
from followup.models import Site
from followup.queries.cohort_choice import CohortChoice
from followup.queries.cohorts import read_cohort
from followup.queries.reports.audit_method import definitions
from followup.queries.reports.monitoring import Monitoring, monitoring
from followup.queries.reports.monitoring_tables import (
    CANNOT_SHOW,
    EXCESS_NOTE,
    monitoring_words,
    sheet_rows,
)
from followup.web.audit import addresses
from followup.web.audit.answers import refusal
from followup.web.audit.asked import read_choice
from followup.web.kit.access import StaffRequest, needs
from followup.web.kit.pages import page

_ASKED = ("Cohort", "Eyes of one patient", "Clock asked for", "Event asked for", "Data lock")
"""Which of the definitions bear on these figures."""


@require_safe
@needs(Action.AUDIT)
def monitor(request: StaffRequest) -> HttpResponse:
    form = read_choice(request)
    choice = form.choice
    if choice is None:
        return refusal(form)
    found = _counted(choice, form.here)
    words = monitoring_words(found, choice)
    told = definitions(choice, site=form.here.name, surgeon=form.surgeon_name)
    context = {
        "clinic": form.here,
        "query": choice.query,
        "addresses": addresses.of_choice(choice),
        "found": found,
        "words": words,
        "cannot_show": CANNOT_SHOW,
        "excess_note": EXCESS_NOTE,
        "definitions": [definition for definition in told if definition.term in _ASKED],
    }
    return page(request, "audit/monitor.html", context)


@require_safe
@needs(Action.AUDIT)
def monitor_csv(request: StaffRequest) -> HttpResponse:
    form = read_choice(request)
    choice = form.choice
    if choice is None:
        return refusal(form)
    found = _counted(choice, form.here)
    written = csv_text(sheet_rows(found, monitoring_words(found, choice)))
    headers = {
        "Content-Disposition": f'attachment; filename="over-time-{choice.lock}.csv"',
        "Cache-Control": "private, no-cache",
    }
    return HttpResponse(written, content_type="text/csv; charset=utf-8", headers=headers)


@csp_update({"style-src": [UNSAFE_INLINE]})
@require_safe
@needs(Action.AUDIT)
def monitor_svg(request: StaffRequest) -> HttpResponse:
    """Opened by itself the drawing needs its own inline styles, which no other page allows."""
    form = read_choice(request)
    choice = form.choice
    if choice is None:
        return refusal(form)
    # Imported here: the drawing library takes a second to load, which no other page should wait for.
    from followup.web.audit.monitor_figure import draw

    drawn = draw(_counted(choice, form.here), choice, form.here.name)
    return HttpResponse(drawn, content_type="image/svg+xml", headers={"Cache-Control": "private, no-cache"})


def _counted(choice: CohortChoice, site: Site) -> Monitoring:
    expected = site.expected_recurrence_percent
    return monitoring(read_cohort(choice), expected_percent=None if expected is None else float(expected))
