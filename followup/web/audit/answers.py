"""An audit as a page's parts, a drawing, a sheet or a list of eyes, whether asked now or locked."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import date
from typing import Any

from django.http import Http404, HttpResponse, HttpResponseBadRequest, HttpResponseNotModified

from followup.domain.dates.zones import wall_clock
from followup.domain.roles import Action, may
from followup.interchange.reports.audit_pdf import AuditPaper, Drawing, print_audit
from followup.interchange.sheets.write import csv_text
from followup.interchange.sheets.xlsx import workbook
from followup.models import Site
from followup.queries.access import eyes_of
from followup.queries.cohorts import Cohort
from followup.queries.reports.audit import AuditReport
from followup.queries.reports.audit_cautions import cautions
from followup.queries.reports.audit_method import Definition
from followup.queries.reports.audit_sections import sections
from followup.queries.reports.audit_sheet import sheet_rows
from followup.queries.reports.audit_tables import Table
from followup.queries.reports.audit_whole import WholeAudit, eye_list
from followup.queries.reports.audit_words import tables
from followup.services.reads import record_download
from followup.web.audit.addresses import Addresses
from followup.web.audit.forms import CohortForm
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest
from followup.web.kit.pages import page
from followup.web.kit.paging import page_of
from followup.web.kit.sheets import SHEET_TYPES

_CONTENT_TYPES = {**SHEET_TYPES, "svg": "image/svg+xml", "png": "image/png"}


def results(whole: WholeAudit, addresses: Addresses) -> dict[str, Any]:
    """What the templates of the figures need."""
    return {
        "report": whole.report,
        "tables": tables(whole.report),
        "sections": sections(whole),
        "cautions": cautions(whole.report),
        "addresses": addresses,
    }


def drawing(request: StaffRequest, report: AuditReport, site: Site, kind: str) -> HttpResponse:
    """Drawn anew only when its numbers changed."""
    tag = f'"{hashlib.sha256(repr((kind, site.name, report)).encode()).hexdigest()}"'
    if request.headers.get("If-None-Match") == tag:
        return HttpResponseNotModified(headers={"ETag": tag})
    # Imported here: the drawing library takes a second to load, which no other page should wait for.
    from followup.web.audit.figures import draw

    headers = _headers(report.choice.lock, kind) | {"ETag": tag}
    return HttpResponse(draw(report, site.name, kind), content_type=_CONTENT_TYPES[kind], headers=headers)


def paper(
    whole: WholeAudit, site: Site, *, title: str, told: Sequence[str], definitions: Sequence[Definition]
) -> HttpResponse:
    """The figures of the page as a PDF. `told`: what stands under the title, line by line."""
    # Imported here, as above.
    from followup.web.audit.figures import draw

    report, shown, words = whole.report, sections(whole), tables(whole.report)
    first: tuple[Table, ...] = (shown.flow,)
    tables_of_curve: tuple[Table, ...] = ()
    curve: Drawing | str = "No eye of this cohort has time on this clock, so there is no curve."
    if not report.flow[1].eyes:
        curve = "No eye matches, so nothing else was counted."
    elif report.in_curve.eyes:
        curve = Drawing(draw(report, site.name, "png"), words.summary, words.under_the_curve)
        first, tables_of_curve = (shown.flow, shown.rates), (*shown.curve, *shown.beside)
    now = clock.now()
    printed = print_audit(
        AuditPaper(
            title=title,
            told=told,
            cautions=cautions(report),
            first=first,
            curve=curve,
            tables_of_curve=tables_of_curve,
            sections=shown.rest if report.flow[1].eyes else (),
            definitions=definitions,
            printed=wall_clock(now, site.time_zone),
        ),
        now=now,
    )
    return HttpResponse(printed, content_type="application/pdf", headers=_headers(report.choice.lock, "pdf"))


def sheet(request: StaffRequest, cohort: Cohort, site: Site, kind: str, *, what: str) -> HttpResponse:
    """What is taken out is kept in the history: who, when, how many rows, and by which address."""
    rows = sheet_rows(cohort)
    written = csv_text(rows) if kind == "csv" else workbook(rows, "Eyes")
    record_download(
        by=request.user,
        now=clock.now(),
        site=site,
        what=what,
        kind=kind,
        asked=cohort.choice.query,
        rows=len(cohort.rows),
    )
    headers = _headers(cohort.choice.lock, kind)
    return HttpResponse(written, content_type=_CONTENT_TYPES[kind], headers=headers)


def eyes(request: StaffRequest, cohort: Cohort, site: Site, back: str) -> HttpResponse:
    """The eyes behind one figure: by name for those who may see patients, else by code."""
    found = eye_list(cohort, request.GET.get("of", "cohort"))
    if found is None:
        raise Http404("The audit has no such figure.")
    shown = page_of(request, found.rows)
    by_name = may(request.user.role, Action.SEE_PATIENTS)
    named = eyes_of(request.user).in_bulk([row.eye_id for row in shown]) if by_name else {}
    context = {
        "clinic": site,
        "back": back,
        "found": found,
        "rows": shown,
        "lines": [(row, named.get(row.eye_id)) for row in shown],
    }
    return page(request, "audit/eyes.html", context)


def refusal(form: CohortForm) -> HttpResponse:
    """An address that no cohort can be read from, and why."""
    return HttpResponseBadRequest(form.errors.as_text(), content_type="text/plain; charset=utf-8")


def _headers(lock: date, kind: str) -> dict[str, str]:
    """A file name to save under; a drawing still shows in its page."""
    shown = "attachment" if kind in ("csv", "xlsx", "pdf") else "inline"
    return {
        "Content-Disposition": f'{shown}; filename="audit-{lock}.{kind}"',
        "Cache-Control": "private, no-cache",
    }
