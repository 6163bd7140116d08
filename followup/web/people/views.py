"""Finding, registering and showing people."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods, require_safe

from followup.domain.roles import Action
from followup.queries import access, people
from followup.queries.history import change_rows
from followup.services.people import change_patient, register_patient
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, find, log_read, needs
from followup.web.kit.forms import refusals_on
from followup.web.kit.pages import page
from followup.web.kit.paging import page_of
from followup.web.people.forms import PatientForm


@require_safe
@needs(Action.SEE_PATIENTS)
def search(request: StaffRequest) -> HttpResponse:
    text = request.GET.get("q", "").strip()
    found = page_of(request, people.search_people(request.user, text))
    return page(request, "people/search.html", {"searched": text, "rows": found})


@require_safe
@needs(Action.SEE_PATIENTS)
def patient(request: StaffRequest, pk: int) -> HttpResponse:
    person = find(request, access.patient_for, pk)
    log_read(request, person)
    shown = people.person_page(person, clock.today(person.site))
    return page(request, "people/patient.html", {"patient": person, "shown": shown})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.EDIT_PATIENTS)
def register(request: StaffRequest) -> HttpResponse:
    form = PatientForm(request.POST or None, initial={"record_number": request.GET.get("number", "")})
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            made = register_patient(by=request.user, now=clock.now(), site=request.site, **form.cleaned_data)
            messages.success(request, f"{made} is registered. Record the operation next.")
            return redirect("patient", pk=made.pk)
    return page(request, "people/register.html", {"form": form})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.EDIT_PATIENTS)
def change(request: StaffRequest, pk: int) -> HttpResponse:
    person = find(request, access.patient_for, pk)
    form = PatientForm(
        request.POST or None, initial={name: getattr(person, name) for name in PatientForm.base_fields}
    )
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            change_patient(by=request.user, now=clock.now(), patient=person, **form.cleaned_data)
            messages.success(request, f"The details of {person} are changed.")
            return redirect("patient", pk=person.pk)
    return page(request, "people/change.html", {"form": form, "patient": person})


@require_safe
@needs(Action.SEE_PATIENTS)
def history(request: StaffRequest, pk: int) -> HttpResponse:
    person = find(request, access.patient_for, pk)
    log_read(request, person)
    rows = page_of(request, people.changes_of(person))
    context = {"patient": person, "rows": rows, "changes": change_rows(list(rows))}
    return page(request, "people/history.html", context)
