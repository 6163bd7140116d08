"""Recording a visit, both eyes on one form; correcting it; marking it as entered in error."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods

from followup.domain.acuity.notation import Notation
from followup.domain.roles import Action
from followup.domain.words import Lane
from followup.models import Site
from followup.queries import access
from followup.queries.booking import places_to_attend
from followup.services.visits import correct_visit, mark_visit_in_error, record_visit
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, find, needs
from followup.web.kit.forms import ReasonForm, refusals_on
from followup.web.kit.pages import page
from followup.web.visits.forms import VisitForms
from followup.web.visits.initial import not_examined, values_of


def _bare(site: Site) -> Notation | None:
    return Notation(site.bare_acuity) if site.bare_acuity else None


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.RECORD_VISIT)
def record(request: StaffRequest, pk: int) -> HttpResponse:
    patient = find(request, access.patient_for, pk)
    today = clock.today(patient.site)
    forms = VisitForms(
        request.POST or None,
        site=patient.site,
        places=places_to_attend(patient, Lane.REVIEW, today),
        initial={
            "visit": {"day": today, "appointment": request.GET.get("appointment")},
            "right": not_examined(),
            "left": not_examined(),
        },
    )
    if request.method == "POST" and forms.is_valid():
        with refusals_on(forms):
            record_visit(
                by=request.user,
                now=clock.now(),
                today=today,
                patient=patient,
                exams=forms.entries(),
                bare_acuity=_bare(patient.site),
                **forms.visit.cleaned_data,
            )
            messages.success(request, f"Visit of {patient} recorded.")
            return redirect("patient", pk=patient.pk)
    return page(request, "visits/record.html", {"forms": forms, "patient": patient})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.RECORD_VISIT)
def correct(request: StaffRequest, pk: int) -> HttpResponse:
    visit = find(request, access.visit_for, pk)
    patient = visit.patient
    stand_in = {"right": not_examined(), "left": not_examined()}
    forms = VisitForms(
        request.POST or None, site=patient.site, places=None, initial=stand_in | values_of(visit)
    )
    if request.method == "POST" and forms.is_valid():
        with refusals_on(forms):
            correct_visit(
                by=request.user,
                now=clock.now(),
                today=clock.today(patient.site),
                visit=visit,
                exams=forms.entries(),
                bare_acuity=_bare(patient.site),
                **forms.visit.cleaned_data,
            )
            messages.success(request, "The visit is corrected; the earlier entry stays in the history.")
            return redirect("patient", pk=patient.pk)
    return page(request, "visits/correct.html", {"forms": forms, "patient": patient, "visit": visit})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.RECORD_VISIT)
def in_error(request: StaffRequest, pk: int) -> HttpResponse:
    visit = find(request, access.visit_for, pk)
    form = ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            mark_visit_in_error(by=request.user, now=clock.now(), visit=visit, **form.cleaned_data)
            messages.success(request, "The visit is marked as entered in error.")
            return redirect("patient", pk=visit.patient_id)
    return page(request, "visits/in_error.html", {"form": form, "visit": visit})
