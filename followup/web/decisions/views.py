"""What clinicians sign, and a death, each with its undoing."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods

from followup.domain.roles import Action
from followup.queries import access
from followup.queries.decisions import choices_for, last_warning
from followup.queries.recall import person_rows
from followup.services.decisions import (
    accept_transfer,
    confirm_death,
    record_death,
    sign_decision,
    undo_death,
    undo_decision,
)
from followup.web.decisions.forms import AcceptForm, ConfirmForm, DeathForm, DecisionForm
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, find, needs
from followup.web.kit.forms import ReasonForm, refusals_on
from followup.web.kit.pages import page


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.SIGN_DECISION)
def decide(request: StaffRequest, pk: int) -> HttpResponse:
    eye = find(request, access.eye_for, pk)
    today = clock.today(eye.patient.site)
    initial = {"kind": request.GET.get("kind", "")}
    form = DecisionForm(request.POST or None, choices=choices_for(eye), initial=initial)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            signed = sign_decision(
                by=request.user, now=clock.now(), today=today, eye=eye, **form.cleaned_data
            )
            messages.success(request, f"Signed: {signed.get_kind_display()}, {eye}.")
            return redirect("eye", pk=eye.pk)
    context = {
        "form": form,
        "eye": eye,
        "patient": eye.patient,
        "row": next((row for row in person_rows(eye.patient, today) if row.row.eye == eye), None),
        "warned_on": last_warning(eye),
    }
    return page(request, "decisions/decide.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.SIGN_DECISION)
def undo(request: StaffRequest, pk: int) -> HttpResponse:
    decision = find(request, access.decision_for, pk)
    form = ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            today = clock.today(decision.eye.patient.site)
            undo_decision(
                by=request.user, now=clock.now(), today=today, decision=decision, **form.cleaned_data
            )
            messages.success(request, "The decision is undone. It stays on record.")
            return redirect("eye", pk=decision.eye_id)
    return page(request, "decisions/undo.html", {"form": form, "decision": decision})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.ACCEPT_TRANSFER)
def accept(request: StaffRequest, pk: int) -> HttpResponse:
    decision = find(request, access.decision_for, pk)
    form = AcceptForm(request.POST or None, today=clock.today(decision.eye.patient.site))
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            accept_transfer(by=request.user, now=clock.now(), decision=decision, **form.cleaned_data)
            messages.success(request, f"{decision.to_whom} has taken over; the eye is closed here.")
            return redirect("eye", pk=decision.eye_id)
    return page(request, "decisions/accept.html", {"form": form, "decision": decision})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.RECORD_DEATH)
def death(request: StaffRequest, pk: int) -> HttpResponse:
    patient = find(request, access.patient_for, pk)
    form = DeathForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            record_death(
                by=request.user,
                now=clock.now(),
                today=clock.today(patient.site),
                patient=patient,
                died_on=form.cleaned_data["died_on"],
                source=form.cleaned_data["source"],
            )
            messages.success(
                request,
                f"The death of {patient} is reported, and nothing is sent any more. "
                "A second person at the clinic confirms it.",
            )
            return redirect("patient", pk=patient.pk)
    return page(request, "decisions/death.html", {"form": form, "patient": patient})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.RECORD_DEATH)
def confirm(request: StaffRequest, pk: int) -> HttpResponse:
    patient = find(request, access.patient_for, pk)
    form = ConfirmForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            confirm_death(by=request.user, now=clock.now(), patient=patient)
            messages.success(request, f"The death of {patient} is confirmed; both eyes are closed.")
            return redirect("patient", pk=patient.pk)
    return page(request, "decisions/confirm_death.html", {"form": form, "patient": patient})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.RECORD_DEATH)
def not_dead(request: StaffRequest, pk: int) -> HttpResponse:
    patient = find(request, access.patient_for, pk)
    form = ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            today = clock.today(patient.site)
            undo_death(by=request.user, now=clock.now(), today=today, patient=patient, **form.cleaned_data)
            messages.success(request, f"The death of {patient} is undone; both eyes are open again.")
            return redirect("patient", pk=patient.pk)
    return page(request, "decisions/undo_death.html", {"form": form, "patient": patient})
