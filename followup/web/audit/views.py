"""The audit: one address names the cohort, and every figure, drawing and sheet comes from the same rows."""

from __future__ import annotations

from csp.constants import UNSAFE_INLINE
from csp.decorators import csp_update
from django.http import HttpResponse
from django.views.decorators.http import require_safe

from followup.domain.roles import Action
from followup.queries.cohorts import read_cohort
from followup.queries.reports.audit import audit
from followup.queries.reports.audit_method import definitions
from followup.queries.reports.audit_whole import whole_audit
from followup.web.audit import addresses, answers
from followup.web.audit.asked import form_of, read_choice
from followup.web.kit.access import StaffRequest, needs
from followup.web.kit.pages import page


@require_safe
@needs(Action.AUDIT)
def audit_page(request: StaffRequest) -> HttpResponse:
    form = read_choice(request)
    choice = form.choice
    if choice is None:
        return page(request, "audit/audit.html", {"form": form, "clinic": form.here})
    whole = whole_audit(read_cohort(choice), minimum_at_risk=form.here.curve_minimum_at_risk)
    context = {
        # Shown as understood, with the defaults filled in.
        "form": form_of(request, form.here, choice),
        "clinic": form.here,
        "query": choice.query,
        "definitions": definitions(choice, site=form.here.name, surgeon=form.surgeon_name),
        **answers.results(whole, addresses.of_choice(choice)),
    }
    return page(request, "audit/audit.html", context)


@csp_update({"style-src": [UNSAFE_INLINE]})
@require_safe
@needs(Action.AUDIT)
def curve_svg(request: StaffRequest) -> HttpResponse:
    """Opened by itself the drawing needs its own inline styles, which no other page allows."""
    return _drawing(request, "svg")


@require_safe
@needs(Action.AUDIT)
def curve_png(request: StaffRequest) -> HttpResponse:
    return _drawing(request, "png")


@require_safe
@needs(Action.AUDIT)
def eyes_csv(request: StaffRequest) -> HttpResponse:
    """The rows under the figures, one an eye, under codes."""
    return _sheet(request, "csv")


@require_safe
@needs(Action.AUDIT)
def eyes_xlsx(request: StaffRequest) -> HttpResponse:
    return _sheet(request, "xlsx")


@require_safe
@needs(Action.AUDIT)
def report_pdf(request: StaffRequest) -> HttpResponse:
    """Everything on the page, for paper."""
    form = read_choice(request)
    choice = form.choice
    if choice is None:
        return answers.refusal(form)
    lock = f"{choice.lock:%-d %B %Y}"
    return answers.paper(
        whole_audit(read_cohort(choice), minimum_at_risk=form.here.curve_minimum_at_risk),
        form.here,
        title=f"Audit of {form.here.name}",
        told=[f"Data lock {lock}. Not a locked audit: entries corrected since would change the figures."],
        definitions=definitions(choice, site=form.here.name, surgeon=form.surgeon_name),
    )


@require_safe
@needs(Action.AUDIT)
def eyes_page(request: StaffRequest) -> HttpResponse:
    form = read_choice(request)
    if form.choice is None:
        return answers.refusal(form)
    back = addresses.of_choice(form.choice).page
    return answers.eyes(request, read_cohort(form.choice), form.here, back)


def _sheet(request: StaffRequest, kind: str) -> HttpResponse:
    form = read_choice(request)
    if form.choice is None:
        return answers.refusal(form)
    return answers.sheet(request, read_cohort(form.choice), form.here, kind, what="audit_rows")


def _drawing(request: StaffRequest, kind: str) -> HttpResponse:
    form = read_choice(request)
    if form.choice is None:
        return answers.refusal(form)
    report = audit(read_cohort(form.choice), minimum_at_risk=form.here.curve_minimum_at_risk)
    return answers.drawing(request, report, form.here, kind)
