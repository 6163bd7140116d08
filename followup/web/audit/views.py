"""The audit: one address names the cohort, and every figure, drawing and sheet comes from the same rows."""

from __future__ import annotations

import csv
import hashlib
from typing import Any

from csp.constants import UNSAFE_INLINE
from csp.decorators import csp_update
from django.http import HttpResponse, HttpResponseBadRequest, HttpResponseNotModified
from django.views.decorators.http import require_safe

from followup.domain.roles import Action
from followup.models import Site
from followup.queries.cohort_choice import CohortChoice
from followup.queries.cohorts import read_cohort, surgeons_at
from followup.queries.reports.audit import AuditReport, audit
from followup.queries.reports.audit_cautions import cautions
from followup.queries.reports.audit_method import definitions
from followup.queries.reports.audit_sheet import sheet_rows
from followup.web.audit.forms import CohortForm
from followup.web.audit.tables import tables
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, needs
from followup.web.kit.pages import page


@require_safe
@needs(Action.AUDIT)
def audit_page(request: StaffRequest) -> HttpResponse:
    form = _read(request)
    choice = form.choice
    if choice is None:
        return page(request, "audit/audit.html", {"form": form, "clinic": form.here})
    report = _report(choice, form.here)
    surgeon = form.surgeons.get(choice.surgeon, "")
    context = {
        # Shown as understood, with the defaults filled in.
        "form": _form(request, form.here, choice.fields()),
        "clinic": form.here,
        "query": choice.query,
        "report": report,
        "tables": tables(report),
        "cautions": cautions(report),
        "definitions": definitions(choice, site=form.here.name, surgeon=surgeon),
    }
    return page(request, "audit/audit.html", context)


@csp_update({"style-src": [UNSAFE_INLINE]})
@require_safe
@needs(Action.AUDIT)
def curve_svg(request: StaffRequest) -> HttpResponse:
    """Opened by itself the drawing needs its own inline styles, which no other page allows."""
    return _drawing(request, "svg", "image/svg+xml")


@require_safe
@needs(Action.AUDIT)
def curve_png(request: StaffRequest) -> HttpResponse:
    return _drawing(request, "png", "image/png")


@require_safe
@needs(Action.AUDIT)
def eyes_csv(request: StaffRequest) -> HttpResponse:
    """The rows under the figures, one an eye, under codes."""
    form = _read(request)
    if form.choice is None:
        return _refusal(form)
    response = HttpResponse(content_type="text/csv; charset=utf-8", headers=_headers(form.choice, "csv"))
    csv.writer(response).writerows(sheet_rows(read_cohort(form.choice)))
    return response


def _drawing(request: StaffRequest, kind: str, content_type: str) -> HttpResponse:
    """Drawn anew only when its numbers changed."""
    form = _read(request)
    if form.choice is None:
        return _refusal(form)
    report = _report(form.choice, form.here)
    tag = f'"{hashlib.sha256(repr((kind, form.here.name, report)).encode()).hexdigest()}"'
    if request.headers.get("If-None-Match") == tag:
        return HttpResponseNotModified(headers={"ETag": tag})
    # Imported here: the drawing library takes a second to load, which no other page should wait for.
    from followup.web.audit.figures import draw

    headers = _headers(form.choice, kind) | {"ETag": tag}
    return HttpResponse(draw(report, form.here.name, kind), content_type=content_type, headers=headers)


def _headers(choice: CohortChoice, kind: str) -> dict[str, str]:
    """A file name to save under; a drawing still shows in its page."""
    shown = "attachment" if kind == "csv" else "inline"
    return {
        "Content-Disposition": f'{shown}; filename="audit-{choice.lock}.{kind}"',
        "Cache-Control": "private, no-cache",
    }


def _refusal(form: CohortForm) -> HttpResponse:
    return HttpResponseBadRequest(form.errors.as_text(), content_type="text/plain; charset=utf-8")


def _report(choice: CohortChoice, site: Site) -> AuditReport:
    return audit(read_cohort(choice), minimum_at_risk=site.curve_minimum_at_risk)


def _read(request: StaffRequest) -> CohortForm:
    """The address, judged: its clinic where it names one of this person's, else the current one."""
    asked = request.GET.get("site")
    site = next((one for one in request.sites if str(one.pk) == asked), request.site)
    form = _form(request, site, request.GET)
    form.is_valid()
    return form


def _form(request: StaffRequest, site: Site, data: Any) -> CohortForm:
    return CohortForm(
        data, sites=request.sites, site=site, surgeons=surgeons_at(site), today=clock.today(site)
    )
