"""Booking, moving and cancelling one person's place."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods

from followup.domain.roles import Action
from followup.domain.words import Lane
from followup.models import Appointment
from followup.queries import access
from followup.queries.booking import awaited_of, offers, standings_of, unavailable_from
from followup.services.booking import book_appointment, cancel_appointment, move_appointment
from followup.web.booking.forms import BookForm, CancelForm, ChooseSession
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, find, needs
from followup.web.kit.forms import refusals_on
from followup.web.kit.pages import page


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.BOOK)
def book(request: StaffRequest, pk: int) -> HttpResponse:
    eye = find(request, access.eye_for, pk)
    patient, today = eye.patient, clock.today(eye.patient.site)
    lane = Lane.REMOVAL if request.GET.get("lane") == Lane.REMOVAL else Lane.REVIEW
    rows = standings_of(patient, today)
    awaited = awaited_of(rows, lane, eye)
    urgent = "urgent" in (request.POST if request.method == "POST" else request.GET)
    offered = offers(patient=patient, day=today, lane=lane, awaited=awaited, urgent=urgent)
    form = BookForm(request.POST or None, offers=offered, initial={"urgent": urgent})
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            place = book_appointment(
                by=request.user,
                now=clock.now(),
                today=today,
                patient=patient,
                session=form.chosen,
                lane=lane.value,
                eye=eye if lane is Lane.REMOVAL else None,
                note=form.cleaned_data["note"],
                time=form.cleaned_data["time"],
                urgent=form.cleaned_data["urgent"],
            )
            messages.success(request, f"Booked: {_told(place)}.")
            return redirect("patient", pk=patient.pk)
    context = {
        "form": form,
        "eye": eye,
        "patient": patient,
        "lane": lane,
        "awaited": awaited,
        "offers": offered,
        "rows": rows,
        "urgent": urgent,
        "away": unavailable_from(patient, today),
    }
    return page(request, "booking/book.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.BOOK)
def move(request: StaffRequest, pk: int) -> HttpResponse:
    place = find(request, access.appointment_for, pk)
    today, lane = clock.today(place.patient.site), Lane(place.lane)
    awaited = awaited_of(standings_of(place.patient, today), lane, place.eye)
    offered = offers(patient=place.patient, day=today, lane=lane, awaited=awaited, urgent=place.urgent)
    elsewhere = [offer for offer in offered if offer.session != place.session]
    form = ChooseSession(request.POST or None, offers=elsewhere)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            moved = move_appointment(
                by=request.user, now=clock.now(), today=today, appointment=place, session=form.chosen
            )
            messages.success(request, f"Moved: {_told(moved)}.")
            return redirect("patient", pk=place.patient_id)
    context = {"form": form, "place": place, "patient": place.patient, "offers": elsewhere}
    return page(request, "booking/move.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.BOOK)
def cancel(request: StaffRequest, pk: int) -> HttpResponse:
    place = find(request, access.appointment_for, pk)
    form = CancelForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            cancel_appointment(by=request.user, now=clock.now(), appointment=place, **form.cleaned_data)
            messages.success(request, f"Cancelled: {_told(place)}. Book another place.")
            return redirect("patient", pk=place.patient_id)
    return page(request, "booking/cancel.html", {"form": form, "place": place, "patient": place.patient})


def _told(place: Appointment) -> str:
    """A place in one line: who, where and when."""
    return f"{place.patient}, {place.session.title}, {place.day:%-d %b %Y} at {place.local_time:%H:%M}"
