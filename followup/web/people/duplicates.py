"""Records that may be of one person: looked at side by side, merged, taken apart again."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from followup.domain.errors import FollowUpError
from followup.domain.roles import Action
from followup.models import Patient
from followup.queries import access
from followup.queries.duplicates import conflicts, counts_of, likely_duplicates, why_alike
from followup.services.merges import keep_apart, merge_patients, undo_merge
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, find, log_read, needs
from followup.web.kit.pages import page
from followup.web.kit.paging import page_of

SHOWN = (
    ("Record number", "record_number"),
    ("Family name", "family_name"),
    ("Given name", "given_name"),
    ("Born", "birth_date"),
    ("Sex", "get_sex_display"),
    ("Telephone", "phone"),
    ("E-mail", "email"),
    ("Died on", "died_on"),
)


@require_safe
@needs(Action.EDIT_PATIENTS)
def duplicates(request: StaffRequest) -> HttpResponse:
    rows = page_of(request, likely_duplicates(request.site))
    return page(request, "people/duplicates.html", {"rows": rows})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.EDIT_PATIENTS)
def beside(request: StaffRequest, pk: int) -> HttpResponse:
    """Two records side by side; the one in the address is kept if they are merged."""
    first = find(request, access.patient_for, pk)
    said = request.POST if request.method == "POST" else request.GET
    other = said.get("other", "")
    if not other.isdecimal():
        return redirect("duplicates")
    second = find(request, access.patient_for, int(other))
    if request.method == "POST":
        return _settle(request, first, second)
    for person in (first, second):
        log_read(request, person)
    context = {
        "first": first,
        "second": second,
        "why": why_alike(first, second),
        "rows": _compared(first, second),
        "conflicts": conflicts(first, second),
    }
    return page(request, "people/beside.html", context)


def _compared(first: Patient, second: Patient) -> list[tuple[str, object, object, bool]]:
    """Name of a detail, both values, and whether they differ."""
    rows = []
    for label, name in SHOWN:
        one, other = (_value(person, name) for person in (first, second))
        rows.append((label, one, other, one != other))
    counts = [counts_of(person) for person in (first, second)]
    rows += [(label, counts[0][label], counts[1][label], False) for label in counts[0]]
    return rows


def _value(person: Patient, name: str) -> object:
    found = getattr(person, name)
    return found() if callable(found) else found


def _settle(request: StaffRequest, first: Patient, second: Patient) -> HttpResponse:
    try:
        if "apart" in request.POST:
            keep_apart(by=request.user, now=clock.now(), one=first, other=second)
            messages.success(request, f"{first.name} and {second.name} stay two people.")
            return redirect("duplicates")
        merge_patients(by=request.user, now=clock.now(), kept=first, merged=second)
        messages.success(request, f"{second.record_number} is now part of {first.record_number}.")
    except FollowUpError as fault:
        messages.error(request, fault.message)
        return redirect(f"{reverse('beside', args=[first.pk])}?other={second.pk}")
    return redirect("patient", pk=first.pk)


@require_POST
@needs(Action.EDIT_PATIENTS)
def undo(request: StaffRequest, pk: int) -> HttpResponse:
    merge = find(request, access.merge_for, pk)
    try:
        undo_merge(by=request.user, now=clock.now(), merge=merge)
        messages.success(request, f"{merge.merged.record_number} is a record of its own again.")
    except FollowUpError as fault:
        messages.error(request, fault.message)
    return redirect("patient", pk=merge.kept_id)
