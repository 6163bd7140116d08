"""Clinics and theatre lists: opened, shown day by day, cancelled."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods, require_safe

from followup.domain.roles import Action
from followup.domain.words import NotAttending
from followup.models import Session
from followup.queries import access
from followup.queries.day_sheet import day_sheet
from followup.queries.sessions import open_sessions, sessions_from
from followup.services.cancel_session import cancel_session
from followup.services.rota import open_weekly
from followup.web.booking.forms import CancelSessionForm, SessionForm
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, find, needs
from followup.web.kit.forms import refusals_on
from followup.web.kit.pages import page
from followup.web.kit.paging import page_of


@require_safe
@needs(Action.SEE_LISTS)
def sessions(request: StaffRequest) -> HttpResponse:
    rows = sessions_from(request.site, clock.today(request.site))
    return page(request, "booking/sessions.html", {"rows": page_of(request, rows)})


@require_safe
@needs(Action.SEE_LISTS)
def session(request: StaffRequest, pk: int) -> HttpResponse:
    shown = find(request, access.session_for, pk)
    lines = day_sheet(shown, clock.today(shown.site))
    context = {
        "session": shown,
        "lines": lines,
        "held": sum(line.appointment.state != "cancelled" for line in lines),
        "open_lines": sum(line.is_open for line in lines),
        "reasons": NotAttending.choices(),
    }
    return page(request, "booking/session.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.BOOK)
def open_list(request: StaffRequest) -> HttpResponse:
    form = SessionForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            opened = open_weekly(by=request.user, now=clock.now(), site=request.site, **form.cleaned_data)
            number = "1 session is" if len(opened) == 1 else f"{len(opened)} sessions are"
            messages.success(request, f"{number} open for booking.")
            return redirect("sessions")
    return page(request, "booking/open_session.html", {"form": form})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.BOOK)
def cancel_list(request: StaffRequest, pk: int) -> HttpResponse:
    shown = find(request, access.session_for, pk)
    today = clock.today(shown.site)
    lines = [line for line in day_sheet(shown, today) if line.is_open]
    rooms = [row for row in open_sessions(shown.site, shown.kind, today) if row.session != shown]
    rooms = [row for row in rooms if row.free >= max(1, len(lines))]
    form = CancelSessionForm(request.POST or None, rooms=rooms)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            cancel_session(
                by=request.user,
                now=clock.now(),
                today=today,
                session=shown,
                reason=form.cleaned_data["reason"],
                move_to=form.chosen,
            )
            said = f"{shown.title} on {shown.day:%-d %b %Y} is cancelled"
            messages.success(request, f"{said}. {_what_of_people(len(lines), form.chosen)}")
            return redirect("session", pk=(form.chosen or shown).pk)
    context = {"form": form, "session": shown, "lines": lines, "rooms": rooms}
    return page(request, "booking/cancel_session.html", context)


def _what_of_people(number: int, chosen: Session | None) -> str:
    if chosen is None:
        return "Its people are on the recall list again."
    people = "1 person is" if number == 1 else f"{number} people are"
    return f"{people} moved here."
