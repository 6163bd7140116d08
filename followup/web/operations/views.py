"""Recording an operation, correcting it, and marking it as entered in error."""

from __future__ import annotations

from django.contrib import messages
from django.db import transaction
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods

from followup.domain.roles import Action, Role
from followup.domain.words import Lane
from followup.models import Staff
from followup.queries import access
from followup.queries.booking import places_to_attend
from followup.services.operations import correct_operation, mark_operation_in_error, record_operation
from followup.services.people import ensure_eye
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, find, needs
from followup.web.kit.forms import ReasonForm, refusals_on
from followup.web.kit.pages import page
from followup.web.operations.forms import OperationFields, OperationForm, values_of


def _surgeons(request: StaffRequest) -> QuerySet[Staff]:
    colleagues = access.colleagues_of(request.user)
    return colleagues.filter(role=Role.SURGEON.value).order_by("last_name", "first_name", "username")


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.RECORD_OPERATION)
def record(request: StaffRequest, pk: int) -> HttpResponse:
    patient = find(request, access.patient_for, pk)
    today = clock.today(patient.site)
    form = OperationForm(
        request.POST or None,
        initial={"side": request.GET.get("side", ""), "surgeon": request.user.pk},
        surgeons=_surgeons(request),
        places=places_to_attend(patient, Lane.REMOVAL, today),
    )
    if request.method == "POST" and form.is_valid():
        said = dict(form.cleaned_data)
        with refusals_on(form), transaction.atomic():
            eye = ensure_eye(patient=patient, side=said.pop("side"))
            record_operation(by=request.user, now=clock.now(), today=today, eye=eye, **said)
            messages.success(request, f"Operation on the {eye.get_side_display()} eye recorded.")
            return redirect("eye", pk=eye.pk)
    return page(request, "operations/record.html", {"form": form, "patient": patient})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.RECORD_OPERATION)
def correct(request: StaffRequest, pk: int) -> HttpResponse:
    operation = find(request, access.operation_for, pk)
    form = OperationFields(request.POST or None, initial=values_of(operation), surgeons=_surgeons(request))
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            today = clock.today(operation.eye.patient.site)
            correct_operation(
                by=request.user, now=clock.now(), today=today, operation=operation, **form.cleaned_data
            )
            messages.success(request, "The operation is corrected; the earlier values stay in the history.")
            return redirect("eye", pk=operation.eye_id)
    return page(request, "operations/correct.html", {"form": form, "operation": operation})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.RECORD_OPERATION)
def in_error(request: StaffRequest, pk: int) -> HttpResponse:
    operation = find(request, access.operation_for, pk)
    form = ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            mark_operation_in_error(
                by=request.user, now=clock.now(), operation=operation, **form.cleaned_data
            )
            messages.success(request, "The operation is marked as entered in error.")
            return redirect("eye", pk=operation.eye_id)
    return page(request, "operations/in_error.html", {"form": form, "operation": operation})
