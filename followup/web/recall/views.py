"""Whom to book, whom to chase, and what only a clinician can answer."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods, require_safe

from followup.domain.roles import Action
from followup.domain.words import Channel, ContactResult
from followup.queries import access, urgent
from followup.queries import recall as lists
from followup.queries.list_sheets import recall_sheet
from followup.services.recall import record_attempt
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, find, needs
from followup.web.kit.forms import refusals_on
from followup.web.kit.pages import page
from followup.web.kit.paging import page_of
from followup.web.kit.sheets import sheet_response
from followup.web.recall.forms import AttemptForm, Filters


@require_safe
@needs(Action.SEE_LISTS)
def recall(request: StaffRequest) -> HttpResponse:
    filters = Filters(request.GET, surgeons=lists.surgeons_of(request.site))
    rows = lists.recall_list(site=request.site, day=clock.today(request.site), wanted=filters.wanted())
    shown = {"filters": filters, "rows": page_of(request, rows), "asked": request.GET.urlencode()}
    return page(request, "recall/recall.html", {**shown, **_first(request)})


@require_safe
@needs(Action.SEE_LISTS)
def sheet(request: StaffRequest, kind: str) -> HttpResponse:
    """The list as it is filtered, all pages of it."""
    today = clock.today(request.site)
    filters = Filters(request.GET, surgeons=lists.surgeons_of(request.site))
    rows = lists.recall_list(site=request.site, day=today, wanted=filters.wanted())
    return sheet_response(request, recall_sheet(rows, today), kind, what="recall_list")


@require_safe
@needs(Action.SEE_LISTS)
def questions(request: StaffRequest) -> HttpResponse:
    rows = lists.questions(site=request.site, day=clock.today(request.site))
    return page(request, "recall/questions.html", {"rows": page_of(request, rows), **_first(request)})


def _first(request: StaffRequest) -> dict[str, Any]:
    """What goes before the list."""
    site = request.site
    return {"urgent": urgent.open_reports(site), "deaths_to_confirm": urgent.deaths_to_confirm(site)}


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.CONTACT)
def attempt(request: StaffRequest, pk: int) -> HttpResponse:
    patient = find(request, access.patient_for, pk)
    today = clock.today(patient.site)
    rows = lists.person_rows(patient, today)
    form = AttemptForm(
        request.POST or None, initial={"number_used": patient.phone, "channel": _channel(rows)}
    )
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            made = record_attempt(
                by=request.user,
                now=clock.now(),
                today=today,
                patient=patient,
                **form.cleaned_data,
            )
            if made.result == ContactResult.SYMPTOMS:
                messages.warning(
                    request, f"{patient} reports new symptoms: same-day care, not a routine place."
                )
            messages.success(request, f"Contact attempt with {patient} kept.")
            return redirect("patient", pk=patient.pk)
    return page(request, "recall/attempt.html", {"form": form, "patient": patient, "rows": rows})


def _channel(rows: Sequence[lists.RecallRow]) -> str:
    """The way that the next step goes, the telephone before others."""
    due = [row.rung for row in rows if row.rung and not row.rung.is_exhausted]
    step = min(due, key=lambda rung: rung.due).step if due else None
    return next((channel.value for channel in Channel if step and channel in step.channels), "phone")
