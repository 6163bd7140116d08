"""Calendars of sessions: a file is chosen, what it would do is looked at, and then it is confirmed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods

from followup.domain.errors import FollowUpError
from followup.domain.roles import Action
from followup.interchange.feeds.kept import read_kept, take_calendar
from followup.interchange.feeds.lines import MOST_BYTES
from followup.models import SessionCalendar
from followup.models.choices import SESSION_KINDS
from followup.queries import access
from followup.services.session_calendars import import_session_calendar
from followup.services.session_import import preview_sessions
from followup.services.session_plan import Outcome, SessionRow, digest_of_rows
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, find, needs
from followup.web.kit.forms import Form, refusals_on
from followup.web.kit.pages import page
from followup.web.kit.paging import page_of

MOST_PROBLEMS = 100
_KEPT = ("name", "usual_kind", "usual_places", "named", "days")


class CalendarForm(Form):
    name = forms.CharField(
        max_length=80,
        label="Name of the calendar",
        help_text="The same name again updates what it brought before.",
    )
    file = forms.FileField(label="File", help_text="iCalendar (.ics), at most 10 MB.")
    usual_kind = forms.ChoiceField(
        choices=[("", "Only what is named below"), *SESSION_KINDS], required=False, label="An entry is"
    )
    usual_places = forms.IntegerField(
        required=False, min_value=1, max_value=500, label="With how many places"
    )
    named = forms.CharField(
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        label="Entries of a category or name",
        help_text="One a line, such as Theatre=theatre:4 or Retina clinic=clinic:10.",
    )
    days = forms.IntegerField(initial=400, min_value=1, max_value=1100, label="Read how many days ahead")


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.IMPORT)
def calendars(request: StaffRequest) -> HttpResponse:
    """The calendars of this clinic, and a file for a new one or one of these."""
    form = CalendarForm(request.POST or None, request.FILES or None, initial=_initial(request))
    if request.method == "POST" and form.is_valid():
        said = dict(form.cleaned_data)
        file = said.pop("file")
        with refusals_on(form):
            kept = take_calendar(
                by=request.user,
                now=clock.now(),
                site=request.site,
                file_name=file.name,
                content=file.read(MOST_BYTES + 1),
                **said,
            )
            return redirect("session_calendar", pk=kept.pk)
    rows = access.session_calendars_of(request.user).filter(site=request.site).defer("content")
    context = {"form": form, "rows": page_of(request, rows.order_by("name", "id"))}
    return page(request, "booking/calendars.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.IMPORT)
def calendar(request: StaffRequest, pk: int) -> HttpResponse:
    """What the file would do now; confirmed, it does just that."""
    kept = find(request, access.session_calendar_for, pk)
    found, problems = read_kept(kept, clock.today(kept.site))
    if request.method == "POST":
        try:
            shown = request.POST.get("shown", "")
            rows = import_session_calendar(
                by=request.user, now=clock.now(), kept=kept, calendar=found, shown=shown
            )
            messages.success(request, f"{kept.name}: {_counted(rows)}.")
            return redirect("session_calendars")
        except FollowUpError as fault:
            messages.error(request, fault.message)
    rows = preview_sessions(now=clock.now(), site=kept.site, calendar=found)
    differing = [row for row in rows if row.outcome is not Outcome.SAME]
    context = {
        "kept": kept,
        "problems": problems[:MOST_PROBLEMS],
        "more_problems": max(0, len(problems) - MOST_PROBLEMS),
        "counted": _counted(rows),
        "rows": page_of(request, differing),
        "writes": any(row.outcome in (Outcome.NEW, Outcome.CHANGED, Outcome.GONE) for row in rows),
        "shown": digest_of_rows(rows),
    }
    return page(request, "booking/calendar.html", context)


def _initial(request: StaffRequest) -> dict[str, object]:
    """As the calendar was read last, where a newer file of it is to be read."""
    again = request.GET.get("again", "")
    kept: SessionCalendar | None = (
        access.session_calendars_of(request.user).filter(pk=again).first() if again.isdecimal() else None
    )
    return {name: getattr(kept, name) for name in _KEPT} if kept else {}


def _counted(rows: Sequence[SessionRow]) -> str:
    counts = Counter(row.outcome for row in rows)
    return ", ".join(f"{counts[outcome]} {outcome}" for outcome in Outcome if counts[outcome]) or "no session"
