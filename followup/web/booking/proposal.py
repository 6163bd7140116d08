"""Proposed bookings: accepted, changed or refused line by line, and booked together."""

from __future__ import annotations

from collections.abc import Sequence

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods

from followup.domain.errors import FollowUpError
from followup.domain.roles import Action
from followup.domain.words import Lane
from followup.models import Eye, Patient, Session
from followup.queries.proposal.lines import ProposedLine, proposal
from followup.services.proposal import AcceptedLine, accept_proposal
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, needs
from followup.web.kit.pages import page
from followup.web.kit.paging import page_of

_PREFIX = "place-"


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.BOOK)
def proposed(request: StaffRequest) -> HttpResponse:
    today = clock.today(request.site)
    faults: list[str] = []
    if request.method == "POST":
        try:
            booked = accept_proposal(by=request.user, now=clock.now(), today=today, lines=_accepted(request))
            people = "1 place is" if len(booked) == 1 else f"{len(booked)} places are"
            messages.success(request, f"{people} booked.")
            return redirect("proposal")
        except FollowUpError as fault:
            faults = [fault.message]
    lines = proposal(request.site, today)
    context = {"rows": page_of(request, lines), "faults": faults} | _counts(lines)
    return page(request, "booking/proposal.html", context)


def _counts(lines: Sequence[ProposedLine]) -> dict[str, int]:
    return {
        "needed": len(lines),
        "placed": sum(line.session is not None for line in lines),
        "late": sum(line.delay > 0 for line in lines),
    }


def _accepted(request: StaffRequest) -> list[AcceptedLine]:
    """The lines with a session chosen; what does not name a record of this site is left out."""
    chosen = {
        name.removeprefix(_PREFIX): value
        for name, value in request.POST.items()
        if name.startswith(_PREFIX) and isinstance(value, str) and value.isdecimal()
    }
    people = Patient.objects.filter(site=request.site).select_related("site")
    eyes = Eye.objects.filter(patient__site=request.site)
    sessions = Session.objects.filter(site=request.site).select_related("site")
    lines = []
    for key, session in chosen.items():
        patient, lane, eye = [*key.split("-"), "", ""][:3]
        if patient.isdecimal() and eye.isdecimal() and lane in Lane.codes():
            found = people.filter(pk=patient).first(), sessions.filter(pk=session).first()
            if found[0] is not None and found[1] is not None:
                lines.append(AcceptedLine(found[0], Lane(lane), found[1], eyes.filter(pk=eye).first()))
    return lines
