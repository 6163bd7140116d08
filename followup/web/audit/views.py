"""The audit: one address names the cohort, and every figure, drawing and sheet comes from the same rows."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from typing import Any

from csp.constants import UNSAFE_INLINE
from csp.decorators import csp_update
from django.http import Http404, HttpResponse, HttpResponseBadRequest, HttpResponseNotModified, QueryDict
from django.views.decorators.http import require_safe

from followup.domain.roles import Action, may
from followup.interchange.sheets.write import csv_text
from followup.interchange.sheets.xlsx import workbook
from followup.models import Site
from followup.queries.access import eyes_of
from followup.queries.cohort_choice import CohortChoice
from followup.queries.cohorts import read_cohort, surgeons_at
from followup.queries.reports.audit import AuditReport, audit
from followup.queries.reports.audit_cautions import cautions
from followup.queries.reports.audit_method import definitions
from followup.queries.reports.audit_sheet import sheet_rows
from followup.queries.reports.audit_whole import eye_list, whole_audit
from followup.services.reads import record_download
from followup.web.audit.forms import CohortForm
from followup.web.audit.sections import sections
from followup.web.audit.tables import tables
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, needs
from followup.web.kit.pages import page
from followup.web.kit.paging import page_of

_XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
_NOT_ASKED = ("of", "page")
"""Parts of an address that say what of the audit to show, not which eyes to count."""


@require_safe
@needs(Action.AUDIT)
def audit_page(request: StaffRequest) -> HttpResponse:
    form = _read(request)
    choice = form.choice
    if choice is None:
        return page(request, "audit/audit.html", {"form": form, "clinic": form.here})
    whole = whole_audit(read_cohort(choice), minimum_at_risk=form.here.curve_minimum_at_risk)
    report = whole.report
    surgeon = form.surgeons.get(choice.surgeon, "")
    context = {
        # Shown as understood, with the defaults filled in.
        "form": _form(request, form.here, QueryDict(choice.query)),
        "clinic": form.here,
        "query": choice.query,
        "report": report,
        "tables": tables(report),
        "sections": sections(whole),
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
    return _sheet(request, "csv", "text/csv; charset=utf-8", csv_text)


@require_safe
@needs(Action.AUDIT)
def eyes_xlsx(request: StaffRequest) -> HttpResponse:
    return _sheet(request, "xlsx", _XLSX, lambda rows: workbook(rows, "Eyes"))


@require_safe
@needs(Action.AUDIT)
def eyes_page(request: StaffRequest) -> HttpResponse:
    """The eyes behind one figure: by name for those who may see patients, else by code."""
    form = _read(request)
    if form.choice is None:
        return _refusal(form)
    cohort = read_cohort(form.choice)
    found = eye_list(cohort, request.GET.get("of", "cohort"))
    if found is None:
        raise Http404("The audit has no such figure.")
    shown = page_of(request, found.rows)
    by_name = may(request.user.role, Action.SEE_PATIENTS)
    eyes = eyes_of(request.user).in_bulk([row.eye_id for row in shown]) if by_name else {}
    context = {
        "clinic": form.here,
        "query": form.choice.query,
        "found": found,
        "rows": shown,
        "lines": [(row, eyes.get(row.eye_id)) for row in shown],
    }
    return page(request, "audit/eyes.html", context)


def _sheet(
    request: StaffRequest, kind: str, content_type: str, write: Callable[[Iterable[Any]], str | bytes]
) -> HttpResponse:
    """What is taken out is kept in the history: who, when, how many rows, and by which address."""
    form = _read(request)
    if form.choice is None:
        return _refusal(form)
    cohort = read_cohort(form.choice)
    written = write(sheet_rows(cohort))
    record_download(
        by=request.user,
        now=clock.now(),
        site=form.here,
        what="audit_rows",
        kind=kind,
        asked=form.choice.query,
        rows=len(cohort.rows),
    )
    return HttpResponse(written, content_type=content_type, headers=_headers(form.choice, kind))


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
    shown = "attachment" if kind in ("csv", "xlsx") else "inline"
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
    asked = request.GET.copy()
    for name in _NOT_ASKED:
        asked.pop(name, None)
    site = next((one for one in request.sites if str(one.pk) == asked.get("site")), request.site)
    form = _form(request, site, asked)
    form.is_valid()
    return form


def _form(request: StaffRequest, site: Site, data: QueryDict) -> CohortForm:
    also = [one for one in request.sites if str(one.pk) in dict(data.lists()).get("also", [])]
    return CohortForm(
        data, sites=request.sites, site=site, surgeons=surgeons_at(site, *also), today=clock.today(site)
    )
