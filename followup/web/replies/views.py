"""The page behind the address in a reminder: somebody cannot come. It needs no sign-in."""

from __future__ import annotations

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import translation
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from followup.interchange.messages.links import read_token
from followup.models import Appointment
from followup.queries.access import appointment_of_reminder
from followup.queries.contact import language_for
from followup.services.reminders import Answer, answer_of, give_place_back
from followup.web.kit import clock

FREED = "freed"


@never_cache
@login_not_required
@require_http_methods(["GET", "HEAD", "POST"])
def cannot_come(request: HttpRequest, token: str) -> HttpResponse:
    """Shows the visit and a button; only the button changes anything, since mail scanners open addresses."""
    named = read_token(token)
    appointment = appointment_of_reminder(named[0]) if named else None
    if named is None or appointment is None:
        return _answered(request, None, "unknown", status=404)
    if request.method == "POST":
        stood = give_place_back(now=clock.now(), uid=named[0], sequence=named[1])
        return _answered(request, appointment, FREED if stood is Answer.OPEN else stood.value)
    return _answered(request, appointment, answer_of(appointment, named[1], clock.now()).value)


def _answered(
    request: HttpRequest, appointment: Appointment | None, answer: str, *, status: int = 200
) -> HttpResponse:
    site = appointment.patient.site if appointment else None
    language = language_for(appointment.patient).value if appointment else "en"
    context = {"appointment": appointment, "site": site, "answer": answer}
    with translation.override(language):
        response = render(request, "replies/reply.html", context, status=status)
    response["Content-Language"] = language
    response["X-Robots-Tag"] = "noindex"
    return response
