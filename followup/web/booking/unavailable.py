"""Days on which somebody said that they cannot come."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods, require_POST

from followup.domain.roles import Action
from followup.queries import access
from followup.queries.booking import unavailable_from
from followup.services.unavailable import add_unavailable, remove_unavailable
from followup.web.booking.rota_forms import UnavailableForm
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, find, needs
from followup.web.kit.forms import refusals_on
from followup.web.kit.pages import page


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.BOOK)
def unavailable(request: StaffRequest, pk: int) -> HttpResponse:
    patient = find(request, access.patient_for, pk)
    form = UnavailableForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            add_unavailable(by=request.user, now=clock.now(), patient=patient, **form.cleaned_data)
            messages.success(request, f"{patient} is not offered these days.")
            return redirect("unavailable", pk=patient.pk)
    away = unavailable_from(patient, clock.today(patient.site))
    return page(request, "booking/unavailable.html", {"form": form, "patient": patient, "away": away})


@require_POST
@needs(Action.BOOK)
def remove(request: StaffRequest, pk: int) -> HttpResponse:
    away = find(request, access.unavailable_for, pk)
    remove_unavailable(by=request.user, now=clock.now(), away=away)
    return redirect("unavailable", pk=away.patient_id)
