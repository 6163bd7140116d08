"""Letters to print: all that wait as one PDF, or a single one. Printing is kept, so it takes a button."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods, require_POST

from followup.domain.errors import FollowUpError, Refused
from followup.domain.roles import Action
from followup.domain.words import LetterKind
from followup.interchange.letters.compose import compose_letter
from followup.interchange.letters.sheet import print_letters
from followup.queries import access
from followup.queries.letters import LetterRow, appointment_letter, letters_to_print, oil_letter, why_not
from followup.services.letters import record_letters
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, find, needs
from followup.web.kit.forms import Form, refusals_on
from followup.web.kit.pages import page


class LettersForm(Form):
    """A tick for each letter that can be printed."""

    letter = forms.MultipleChoiceField(
        error_messages={"required": "Tick the letters to print."}, widget=forms.CheckboxSelectMultiple
    )

    def __init__(self, *args: Any, rows: Sequence[LetterRow], **options: Any) -> None:
        super().__init__(*args, **options)
        field = self.fields["letter"]
        assert isinstance(field, forms.MultipleChoiceField)
        field.choices = [(row.key, row.patient.name) for row in rows]


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.CONTACT)
def letters(request: StaffRequest) -> HttpResponse:
    rows = letters_to_print(site=request.site, day=clock.today(request.site))
    blocked = {row.key: why_not(row.patient) for row in rows}
    ready = [row for row in rows if not blocked[row.key]]
    form = LettersForm(request.POST if request.method == "POST" else None, rows=ready)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            chosen = set(form.cleaned_data["letter"])
            return _printed(request, [row for row in ready if row.key in chosen])
    listed = [(row, blocked[row.key]) for row in rows]
    return page(request, "letters/letters.html", {"form": form, "rows": listed})


@require_POST
@needs(Action.CONTACT)
def of_appointment(request: StaffRequest, pk: int) -> HttpResponse:
    return _single(request, appointment_letter(find(request, access.appointment_for, pk)))


@require_POST
@needs(Action.CONTACT)
def not_reached(request: StaffRequest, pk: int) -> HttpResponse:
    return _single(request, LetterRow(LetterKind.NOT_REACHED, find(request, access.patient_for, pk)))


@require_POST
@needs(Action.CONTACT)
def of_oil(request: StaffRequest, pk: int) -> HttpResponse:
    eye = find(request, access.eye_for, pk)
    letter = oil_letter(eye, clock.today(eye.patient.site))
    if letter is None:
        messages.error(request, f"{eye} holds no oil on record.")
        return redirect("patient", pk=eye.patient_id)
    return _single(request, letter)


def _single(request: StaffRequest, letter: LetterRow) -> HttpResponse:
    try:
        return _printed(request, [letter])
    except FollowUpError as fault:
        messages.error(request, fault.message)
        return redirect("patient", pk=letter.patient.pk)


def _printed(request: StaffRequest, rows: Sequence[LetterRow]) -> HttpResponse:
    """The PDF; only once it is made are its letters kept as printed."""
    for row in rows:
        if reason := why_not(row.patient):
            raise Refused(reason)
    now, today = clock.now(), clock.today(request.site)
    written = print_letters((compose_letter(row, day=today) for row in rows), now=now)
    record_letters(by=request.user, now=now, today=today, letters=rows)
    response = HttpResponse(written, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="letters-{today.isoformat()}.pdf"'
    response["Cache-Control"] = "no-store"
    return response
