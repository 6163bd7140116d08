"""One eye: what is next and why, what happened, what was found."""

from __future__ import annotations

import hashlib

from django.contrib import messages
from django.http import HttpResponse, HttpResponseNotModified
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods, require_safe

from followup.domain.roles import Action
from followup.queries import access
from followup.queries.eye_series import eye_series
from followup.queries.eyes import eye_page
from followup.queries.timeline import timeline
from followup.services.people import change_eye
from followup.web.eyes.forms import EyeForm
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, find, log_read, needs
from followup.web.kit.forms import refusals_on
from followup.web.kit.pages import page


@require_safe
@needs(Action.SEE_PATIENTS)
def eye(request: StaffRequest, pk: int) -> HttpResponse:
    shown = find(request, access.eye_for, pk)
    log_read(request, shown.patient)
    today = clock.today(shown.patient.site)
    story = eye_page(shown, today)
    context = {"patient": shown.patient, "eye": shown, "story": story, "timeline": timeline(story, today)}
    return page(request, "eyes/eye.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.EDIT_PATIENTS)
def change(request: StaffRequest, pk: int) -> HttpResponse:
    shown = find(request, access.eye_for, pk)
    form = EyeForm(request.POST or None, initial={name: getattr(shown, name) for name in EyeForm.base_fields})
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            today = clock.today(shown.patient.site)
            change_eye(by=request.user, now=clock.now(), today=today, eye=shown, **form.cleaned_data)
            messages.success(request, f"{shown}: the facts of the eye are changed and it is planned anew.")
            return redirect("eye", pk=shown.pk)
    return page(request, "eyes/change.html", {"form": form, "patient": shown.patient, "eye": shown})


@require_safe
@needs(Action.SEE_PATIENTS)
def figure(request: StaffRequest, pk: int) -> HttpResponse:
    """Acuity and pressure over time, as SVG; drawn only when its numbers changed."""
    shown = find(request, access.eye_for, pk)
    series = eye_series(shown, clock.today(shown.patient.site))
    tag = f'"{hashlib.sha256(repr(series).encode()).hexdigest()}"'
    if request.headers.get("If-None-Match") == tag:
        return HttpResponseNotModified(headers={"ETag": tag})
    # Imported here: the drawing library takes a second to load, which no other page should wait for.
    from followup.web.eyes.figure import draw

    headers = {"ETag": tag, "Cache-Control": "private, no-cache"}
    return HttpResponse(draw(series), content_type="image/svg+xml", headers=headers)
