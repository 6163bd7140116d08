"""What became of a place: who came, who did not, and those of whom nobody has said."""

from __future__ import annotations

from collections.abc import Callable

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from followup.domain.errors import FollowUpError
from followup.domain.roles import Action
from followup.models import Appointment
from followup.queries import access, booking
from followup.services.booking import mark_arrived, mark_attended, mark_not_attended
from followup.web.booking.forms import NotAttendedForm
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, find, needs
from followup.web.kit.forms import refusals_on
from followup.web.kit.pages import page
from followup.web.kit.paging import page_of


@require_safe
@needs(Action.SEE_LISTS)
def without_outcome(request: StaffRequest) -> HttpResponse:
    rows = booking.without_outcome(request.site, clock.today(request.site))
    return page(request, "booking/without_outcome.html", {"rows": page_of(request, rows)})


@require_POST
@needs(Action.BOOK)
def arrived(request: StaffRequest, pk: int) -> HttpResponse:
    return _mark(request, pk, mark_arrived, "has arrived")


@require_POST
@needs(Action.BOOK)
def attended(request: StaffRequest, pk: int) -> HttpResponse:
    return _mark(
        request, pk, mark_attended, "attended: record the visit or the operation, which alone meets a review"
    )


def _mark(request: StaffRequest, pk: int, mark: Callable[..., Appointment], said: str) -> HttpResponse:
    """Marks a place and goes back to its session's day; a refusal is told there."""
    place = find(request, access.appointment_for, pk)
    try:
        mark(by=request.user, now=clock.now(), today=clock.today(place.patient.site), appointment=place)
        messages.success(request, f"{place.patient} {said}.")
    except FollowUpError as fault:
        messages.error(request, fault.message)
    return _to_line(place)


def _to_line(place: Appointment) -> HttpResponse:
    """Back to the line of this place in its day sheet."""
    return redirect(f"{reverse('session', kwargs={'pk': place.session_id})}#place-{place.pk}")


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.BOOK)
def not_attended(request: StaffRequest, pk: int) -> HttpResponse:
    place = find(request, access.appointment_for, pk)
    form = NotAttendedForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            mark_not_attended(
                by=request.user,
                now=clock.now(),
                today=clock.today(place.patient.site),
                appointment=place,
                **form.cleaned_data,
            )
            messages.success(
                request, f"{place.patient} did not attend. Contact them, and book another place."
            )
            return _to_line(place) if "sheet" in request.POST else redirect("attempt", pk=place.patient_id)
    return page(
        request, "booking/not_attended.html", {"form": form, "place": place, "patient": place.patient}
    )
