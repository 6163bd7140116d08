"""Secret calendar addresses of a site, and what they answer."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import ObjectDoesNotExist
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.cache import get_conditional_response
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from followup.domain.errors import FollowUpError
from followup.domain.roles import Action
from followup.interchange.feeds.calendar import written_calendar
from followup.models import CalendarAddress
from followup.models.choices import SESSION_KINDS
from followup.queries import access
from followup.queries.calendar import calendar_of
from followup.queries.cohorts import surgeons_at
from followup.services.feeds import make_calendar_address, revoke_calendar_address
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, find, needs
from followup.web.kit.forms import Form, refusals_on
from followup.web.kit.pages import page


class AddressForm(Form):
    label = forms.CharField(max_length=80, label="Who will use it", help_text="For example: the ward screen.")
    session_kind = forms.ChoiceField(
        choices=[("", "Every kind"), *SESSION_KINDS], required=False, label="Kind of session"
    )
    surgeon = forms.ChoiceField(
        required=False, label="Surgeon", help_text="Shows people with an eye this surgeon operated on last."
    )

    def __init__(self, data: QueryDict | None, *, surgeons: Sequence[tuple[str, str]]) -> None:
        super().__init__(data)
        field = self.fields["surgeon"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [("", "Every surgeon"), *surgeons]


@dataclass(frozen=True, slots=True)
class AddressRow:
    """shows: which appointments, in words."""

    address: CalendarAddress
    shows: str


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.MANAGE_SITE)
def addresses(request: StaffRequest) -> HttpResponse:
    """The list, and a new address, which is shown this once: only its hash is kept."""
    surgeons = surgeons_at(request.site)
    form, shown = AddressForm(request.POST or None, surgeons=surgeons), ""
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            _, token = make_calendar_address(
                by=request.user, now=clock.now(), site=request.site, **form.cleaned_data
            )
            shown = request.build_absolute_uri(reverse("calendar", args=[token]))
            form = AddressForm(None, surgeons=surgeons)
    made = access.calendar_addresses_of(request.user).filter(site=request.site).select_related("made_by")
    rows = [
        AddressRow(address, _shows(address, dict(surgeons)))
        for address in made.order_by("revoked_at", "-made_at", "-id")
    ]
    context = {"form": form, "shown": shown, "rows": rows}
    response = page(request, "feeds/addresses.html", context)
    response["Cache-Control"] = "no-store"
    return response


@require_POST
@needs(Action.MANAGE_SITE)
def revoke(request: StaffRequest, pk: int) -> HttpResponse:
    address = find(request, access.calendar_address_for, pk)
    try:
        revoke_calendar_address(by=request.user, now=clock.now(), address=address)
        messages.success(request, f"The address of {address.label} shows nothing from now on.")
    except FollowUpError as fault:
        messages.error(request, fault.message)
    return redirect("calendar_addresses")


@login_not_required
@require_safe
def calendar(request: HttpRequest, token: str) -> HttpResponse:
    """The calendar behind a secret address; a wrong and a revoked token look alike."""
    try:
        address = access.calendar_address_of_token(token)
    except ObjectDoesNotExist:
        raise Http404("No such calendar.") from None
    site, kind = address.site, address.session_kind
    written = written_calendar(site, calendar_of(address, clock.now(), clock.today(site)), kind)
    tag = f'"{hashlib.sha256(written).hexdigest()}"'
    response = HttpResponse(written, content_type="text/calendar; charset=utf-8")
    response["ETag"] = tag
    response["Cache-Control"] = "private, max-age=300"
    answer: HttpResponse = get_conditional_response(request, etag=tag, response=response) or response
    return answer


def _shows(address: CalendarAddress, surgeons: Mapping[str, str]) -> str:
    kind = {"": "All appointments", "clinic": "Clinics", "theatre": "Theatre lists"}[address.session_kind]
    if not address.surgeon:
        return kind
    name = surgeons.get(address.surgeon, "a surgeon without an operation here now")
    return f"{kind}, {name}"
