"""The rota: patterns from which sessions are opened, the days that differ, and the days when all is shut."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from followup.domain.roles import Action
from followup.queries import access
from followup.queries.rota import rota_page
from followup.services import rota as services
from followup.services.rota_plan import RotaOutcome, RotaRow
from followup.web.booking.rota_forms import ClosureForm, EndPatternForm, ExceptDayForm, PatternForm
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, find, needs
from followup.web.kit.forms import refusals_on
from followup.web.kit.pages import page


@require_safe
@needs(Action.SEE_LISTS)
def rota(request: StaffRequest) -> HttpResponse:
    shown = rota_page(request.site, clock.today(request.site))
    return page(request, "booking/rota.html", {"shown": shown})


@require_POST
@needs(Action.BOOK)
def open_now(request: StaffRequest) -> HttpResponse:
    _tell(request, services.open_sessions(by=request.user, now=clock.now(), site=request.site))
    return redirect("rota")


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.BOOK)
def add(request: StaffRequest) -> HttpResponse:
    form = PatternForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            _, rows = services.add_pattern(
                by=request.user, now=clock.now(), site=request.site, **form.cleaned_data
            )
            _tell(request, rows)
            return redirect("rota")
    return page(request, "booking/rota_form.html", {"form": form, "heading": "A session that repeats"})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.BOOK)
def end(request: StaffRequest, pk: int) -> HttpResponse:
    pattern = find(request, access.pattern_for, pk)
    form = EndPatternForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            rows = services.end_pattern(
                by=request.user, now=clock.now(), pattern=pattern, **form.cleaned_data
            )
            _tell(request, rows)
            return redirect("rota")
    return page(request, "booking/rota_form.html", {"form": form, "heading": f"End {pattern}"})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.BOOK)
def one_day(request: StaffRequest, pk: int) -> HttpResponse:
    pattern = find(request, access.pattern_for, pk)
    form = ExceptDayForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            rows = services.except_day(by=request.user, now=clock.now(), pattern=pattern, **form.cleaned_data)
            _tell(request, rows)
            return redirect("rota")
    return page(request, "booking/rota_form.html", {"form": form, "heading": f"One day of {pattern}"})


@require_POST
@needs(Action.BOOK)
def remove_day(request: StaffRequest, pk: int) -> HttpResponse:
    exception = find(request, access.exception_for, pk)
    _tell(request, services.remove_exception(by=request.user, now=clock.now(), exception=exception))
    return redirect("rota")


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.BOOK)
def close(request: StaffRequest) -> HttpResponse:
    form = ClosureForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            rows = services.add_closure(
                by=request.user, now=clock.now(), site=request.site, **form.cleaned_data
            )
            _tell(request, rows)
            return redirect("rota")
    heading = f"Days on which {request.site} is shut"
    return page(request, "booking/rota_form.html", {"form": form, "heading": heading})


@require_POST
@needs(Action.BOOK)
def remove(request: StaffRequest, pk: int) -> HttpResponse:
    closure = find(request, access.closure_for, pk)
    _tell(request, services.remove_closure(by=request.user, now=clock.now(), closure=closure))
    return redirect("rota")


def _tell(request: StaffRequest, rows: Sequence[RotaRow]) -> None:
    """What became of the sessions, and each that needs a person."""
    counted = Counter(row.outcome for row in rows if row.outcome is not RotaOutcome.PERSON)
    done = ", ".join(f"{number} {outcome}" for outcome, number in counted.items())
    messages.success(request, f"Sessions: {done}." if done else "The sessions are as the rota says.")
    for row in rows:
        if row.outcome is RotaOutcome.PERSON:
            messages.warning(request, f"{row.session.title}, {row.session.day:%-d %b %Y}: {row.reason}")
