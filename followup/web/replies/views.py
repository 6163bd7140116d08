"""The pages behind the addresses in a reminder, without sign-in: I cannot come, and stop these messages."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import translation
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from followup.interchange.messages.links import read_stop_token, read_token
from followup.models import Appointment, Patient
from followup.queries.access import appointment_of_reminder, patient_of_stop_address
from followup.queries.contact import agrees_to, language_for
from followup.services.consent import withdraw_consent
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


@never_cache
@csrf_exempt  # A mail program presses the button without having seen the page (RFC 8058).
@login_not_required
@require_http_methods(["GET", "HEAD", "POST"])
def stop_messages(request: HttpRequest, token: str) -> HttpResponse:
    """Shows a button; only the button withdraws the consent, and pressing it again changes nothing."""
    named = read_stop_token(token)
    patient = patient_of_stop_address(named[0]) if named else None
    if named is None or patient is None:
        return _shown(request, "replies/stop.html", None, {"state": "unknown"}, status=404)
    state = "open" if agrees_to(patient, named[1]) else "stopped"
    if request.method == "POST" and state == "open":
        today = clock.today(patient.site)
        withdraw_consent(by=None, now=clock.now(), today=today, patient=patient, channel=named[1].value)
        state = "stopped"
    return _shown(request, "replies/stop.html", patient, {"state": state, "channel": named[1]})


def _answered(
    request: HttpRequest, appointment: Appointment | None, answer: str, *, status: int = 200
) -> HttpResponse:
    patient = appointment.patient if appointment else None
    context = {"appointment": appointment, "answer": answer}
    return _shown(request, "replies/reply.html", patient, context, status=status)


def _shown(
    request: HttpRequest,
    template: str,
    patient: Patient | None,
    context: dict[str, Any],
    *,
    status: int = 200,
) -> HttpResponse:
    """In the person's language, for no search engine, with the clinic's telephone numbers."""
    language = language_for(patient).value if patient else "en"
    with translation.override(language):
        site = patient.site if patient else None
        response = render(request, template, context | {"site": site}, status=status)
    response["Content-Language"] = language
    response["X-Robots-Tag"] = "noindex"
    return response
