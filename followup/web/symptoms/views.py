"""New symptoms in two steps: find the person, write what they tell. A surgeon signs what to do."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods, require_safe

from followup.domain.roles import Action, may
from followup.queries import access, people
from followup.queries.cautions import urgent_symptoms
from followup.queries.urgent import open_reports
from followup.services.symptoms import answer_report, report_symptoms
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, find, needs
from followup.web.kit.forms import refusals_on
from followup.web.kit.pages import page
from followup.web.kit.paging import page_of
from followup.web.symptoms.forms import AnswerForm, ReportForm


@require_safe
@needs(Action.REPORT_SYMPTOMS)
def find_person(request: StaffRequest) -> HttpResponse:
    text = request.GET.get("q", "").strip()
    found = page_of(request, people.search_people(request.user, text))
    context = {
        "asked": text,
        "rows": found,
        "caution": urgent_symptoms(request.site),
        "urgent": open_reports(request.site),
    }
    return page(request, "symptoms/find.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.REPORT_SYMPTOMS)
def report(request: StaffRequest, pk: int) -> HttpResponse:
    patient = find(request, access.patient_for, pk)
    form = ReportForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            report_symptoms(
                by=request.user,
                now=clock.now(),
                today=clock.today(patient.site),
                patient=patient,
                **form.cleaned_data,
            )
            messages.warning(
                request,
                f"{patient} reports new symptoms: same-day care, not a routine place. Tell a surgeon now; "
                "it stands first on every list.",
            )
            if may(request.user.role, Action.SEE_PATIENTS):
                return redirect("patient", pk=patient.pk)
            return redirect("find_symptoms")
    context = {"form": form, "patient": patient, "caution": urgent_symptoms(patient.site)}
    return page(request, "symptoms/report.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.SIGN_DECISION)
def answer(request: StaffRequest, pk: int) -> HttpResponse:
    told = find(request, access.report_for, pk)
    form = AnswerForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            answer_report(
                by=request.user,
                now=clock.now(),
                today=clock.today(told.patient.site),
                report=told,
                **form.cleaned_data,
            )
            messages.success(request, f"Signed: what to do for {told.patient}.")
            return redirect("patient", pk=told.patient_id)
    context = {
        "form": form,
        "report": told,
        "patient": told.patient,
        "caution": urgent_symptoms(told.patient.site),
    }
    return page(request, "symptoms/answer.html", context)
