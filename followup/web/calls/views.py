"""The telephone day: one person after another, by keyboard alone, and nobody is called by two at once."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.html import format_html
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from followup.domain.errors import FollowUpError
from followup.domain.roles import Action
from followup.domain.words import ContactResult
from followup.models import Patient
from followup.queries import access
from followup.queries.calls import TelephoneDay, held_by, holder_of, telephone_day
from followup.services.calls import claim_call, claim_first, release_call
from followup.services.recall import record_attempt
from followup.web.calls.forms import RESULTS, CallForm
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, find, needs
from followup.web.kit.forms import refusals_on
from followup.web.kit.pages import page

_PUT_OFF = "calls_put_off"
"""In the session: people put off today, who come again once everybody else was tried."""


@require_safe
@needs(Action.CONTACT)
def day(request: StaffRequest) -> HttpResponse:
    context = {"work": _work(request), "mine": held_by(request.user, clock.now())}
    return page(request, "calls/day.html", context)


@require_POST
@needs(Action.CONTACT)
def go_on(request: StaffRequest) -> HttpResponse:
    return _next(request)


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.CONTACT)
def call(request: StaffRequest, pk: int) -> HttpResponse:
    patient = find(request, access.patient_for, pk)
    work = _work(request)
    found = work.call_of(patient)
    channel = min(found.rung.step.channels, default="phone") if found else "phone"
    holder = holder_of(patient, clock.now())
    form = CallForm(request.POST or None, initial={"channel": channel, "number_used": patient.phone})
    if request.method == "POST" and "take" in request.POST:
        return _take(request, patient)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            claim_call(by=request.user, now=clock.now(), patient=patient)
            made = record_attempt(
                by=request.user,
                now=clock.now(),
                today=clock.today(patient.site),
                patient=patient,
                **form.cleaned_data,
            )
            release_call(by=request.user, patient=patient)
            _tell(request, patient, ContactResult(made.result), found.rows[0].row.eye.pk if found else None)
            return _next(request)
    context = {
        "form": form,
        "patient": patient,
        "call": found,
        "work": work,
        "results": [(number, word) for number, word in enumerate(RESULTS, start=1)],
        "is_mine": holder == request.user,
        "held_by_another": holder if holder != request.user else None,
    }
    return page(request, "calls/call.html", context)


@require_POST
@needs(Action.CONTACT)
def later(request: StaffRequest, pk: int) -> HttpResponse:
    """Not now: the person comes again once everybody else was tried."""
    patient = find(request, access.patient_for, pk)
    release_call(by=request.user, patient=patient)
    put_off = _put_off(request)
    request.session[_PUT_OFF] = [str(clock.today(request.site)), [*(p for p in put_off if p != pk), pk]]
    return _next(request)


def _work(request: StaffRequest) -> TelephoneDay:
    return telephone_day(site=request.site, day=clock.today(request.site), now=clock.now())


def _next(request: StaffRequest) -> HttpResponse:
    put_off = _put_off(request)
    waiting = [call.patient for call in _work(request).calls]
    waiting.sort(key=lambda patient: put_off.index(patient.pk) if patient.pk in put_off else -1)
    taken = claim_first(by=request.user, now=clock.now(), patients=waiting)
    return redirect("call", pk=taken.pk) if taken else redirect("calls")


def _take(request: StaffRequest, patient: Patient) -> HttpResponse:
    try:
        claim_call(by=request.user, now=clock.now(), patient=patient)
    except FollowUpError as fault:
        messages.error(request, fault.message)
    return redirect("call", pk=patient.pk)


def _put_off(request: StaffRequest) -> list[int]:
    """Who was put off today, in that order."""
    on, people = request.session.get(_PUT_OFF, ["", []])
    return list(people) if on == str(clock.today(request.site)) else []


def _tell(request: StaffRequest, patient: Patient, result: ContactResult, eye: int | None) -> None:
    """What was kept, and what follows at once."""
    if result is ContactResult.SYMPTOMS:
        messages.warning(request, f"{patient} reports new symptoms: same-day care. Tell a surgeon now.")
    elif result is ContactResult.WILL_COME and eye is not None:
        link = format_html('<a href="{}">Book a place now</a>', reverse("book", args=[eye]))
        messages.success(request, format_html("{}: {}. {}.", patient, result.label, link))
    else:
        messages.success(request, f"{patient}: {result.label}.")
