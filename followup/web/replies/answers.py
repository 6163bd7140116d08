"""Answers to calendar invitations: fed in from a file, and who cannot come."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods

from followup.domain.roles import Action
from followup.interchange.feeds.lines import MOST_BYTES
from followup.interchange.feeds.reply import read_reply
from followup.queries.replies import patients_who_cannot_come
from followup.services.replies import record_reply
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, needs
from followup.web.kit.forms import Form, refusals_on
from followup.web.kit.pages import page
from followup.web.kit.paging import page_of


class AnswerForm(Form):
    file = forms.FileField(
        label="The answer as a file",
        help_text="The whole mail as your mail program saves it, or the .ics file in it.",
    )


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.BOOK)
def answers(request: StaffRequest) -> HttpResponse:
    """Whoever answered that they cannot come keeps the place until a person moves or cancels it."""
    form = AnswerForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            messages.success(request, _take(request, form.cleaned_data["file"].read(MOST_BYTES + 1)))
            return redirect("answers")
    rows = page_of(request, patients_who_cannot_come(request.site, clock.today(request.site)))
    return page(request, "replies/answers.html", {"form": form, "rows": rows})


def _take(request: StaffRequest, content: bytes) -> str:
    reply = read_reply(content)
    appointment, new = record_reply(
        by=request.user,
        now=clock.now(),
        uid=reply.uid,
        sequence=reply.sequence,
        stamp=reply.stamp,
        attendee=reply.attendee,
        answer=reply.answer,
    )
    known = "" if new else " This was known already."
    when = f"{appointment.day:%-d %b %Y}, {appointment.local_time:%H:%M}"
    return f"{appointment.patient}, {when}: {reply.answer.label}.{known}"
