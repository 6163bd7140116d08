"""Audits that were locked: the same figures for ever, and how today's answer differs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from csp.constants import UNSAFE_INLINE
from csp.decorators import csp_update
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from followup.domain.dates.zones import wall_clock
from followup.domain.errors import Refused
from followup.domain.roles import Action, may
from followup.models import LockedAudit
from followup.queries import access
from followup.queries.cohorts import Cohort
from followup.queries.locked.differences import Differs
from followup.queries.locked.frozen import OtherForm, cohort_of
from followup.queries.locked.reopened import counted_again, differing_eyes, kept_definitions, reopened
from followup.queries.reports.audit import audit as report_of
from followup.queries.reports.audit_method import definitions
from followup.services.audits import lock_audit, withdraw_audit
from followup.web.audit import addresses, answers
from followup.web.audit.asked import read_choice
from followup.web.audit.forms import LockForm, WithdrawForm
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, find, needs
from followup.web.kit.forms import refusals_on
from followup.web.kit.pages import page
from followup.web.kit.paging import page_of


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.LOCK_AUDIT)
def lock(request: StaffRequest) -> HttpResponse:
    """Freezes the audit that the address asks for."""
    asked = read_choice(request)
    if asked.choice is None:
        return redirect(f"{reverse('audit')}?{request.GET.urlencode()}")
    form = LockForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        told = definitions(asked.choice, site=asked.here.name, surgeon=asked.surgeon_name)
        with refusals_on(form):
            made = lock_audit(
                by=request.user,
                now=clock.now(),
                choice=asked.choice,
                title=form.cleaned_data["title"],
                definitions=told,
            )
            messages.success(request, f"The audit is locked with {made.eyes} eyes.")
            return redirect("locked_audit", pk=made.pk)
    context = {"form": form, "clinic": asked.here, "query": asked.choice.query, "lock": asked.choice.lock}
    return page(request, "audit/lock.html", context)


@require_safe
@needs(Action.AUDIT)
def locked_list(request: StaffRequest) -> HttpResponse:
    rows = page_of(request, access.locked_audits_of(request.user).defer("frozen", "figures", "definitions"))
    return page(request, "audit/locked_list.html", {"rows": rows})


@require_safe
@needs(Action.AUDIT)
def locked_audit(request: StaffRequest, pk: int) -> HttpResponse:
    locked = find(request, access.locked_audit_for, pk)
    context: dict[str, Any] = {
        "locked": locked,
        "clinic": locked.site,
        "in_its_place": access.locked_audits_of(request.user).filter(supersedes=locked).first(),
        "in_place_of": list(access.locked_audits_of(request.user).filter(superseded_by=locked)),
    }
    try:
        again = reopened(locked)
    except OtherForm:
        return page(request, "audit/locked_kept.html", context | {"definitions": kept_definitions(locked)})
    context |= {
        "again": again,
        "definitions": again.definitions,
        **answers.results(again.whole, addresses.of_locked(locked)),
    }
    return page(request, "audit/locked.html", context)


@require_safe
@needs(Action.AUDIT)
def differing(request: StaffRequest, pk: int) -> HttpResponse:
    """Eyes of which today's records tell otherwise: by name for those who may see patients, else by code."""
    locked = find(request, access.locked_audit_for, pk)
    with _readable(locked):
        shown = page_of(request, differing_eyes(locked))
    by_name = may(request.user.role, Action.SEE_PATIENTS)
    named = access.eyes_of(request.user).in_bulk([eye.eye_id for eye in shown]) if by_name else {}
    lines = [(eye, named.get(eye.eye_id)) for eye in shown]
    return page(request, "audit/differing.html", {"locked": locked, "rows": shown, "lines": lines})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.LOCK_AUDIT)
def withdraw(request: StaffRequest, pk: int) -> HttpResponse:
    locked = find(request, access.locked_audit_for, pk)
    able = {str(one.pk): one for one in access.audits_in_place_of(request.user, locked)}
    offered = {pk: f"{one.title}, data lock {one.lock}" for pk, one in able.items()}
    form = WithdrawForm(request.POST or None, offered=offered)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            withdraw_audit(
                by=request.user,
                now=clock.now(),
                audit=locked,
                reason=form.cleaned_data["reason"],
                in_its_place=able.get(form.cleaned_data["in_its_place"]),
            )
            messages.success(request, "The audit is withdrawn. It stays to be read.")
            return redirect("locked_audit", pk=pk)
    return page(request, "audit/withdraw.html", {"form": form, "locked": locked})


@require_safe
@needs(Action.AUDIT)
def eyes(request: StaffRequest, pk: int) -> HttpResponse:
    locked = find(request, access.locked_audit_for, pk)
    return answers.eyes(request, _rows(locked), locked.site, addresses.of_locked(locked).page)


@require_safe
@needs(Action.AUDIT)
def sheet(request: StaffRequest, pk: int, kind: str) -> HttpResponse:
    locked = find(request, access.locked_audit_for, pk)
    return answers.sheet(request, _rows(locked), locked.site, kind, what="locked_audit_rows")


@require_safe
@needs(Action.AUDIT)
def report_pdf(request: StaffRequest, pk: int) -> HttpResponse:
    """What was locked, for paper, with its digests."""
    locked = find(request, access.locked_audit_for, pk)
    with _readable(locked):
        whole, recounted = counted_again(locked)
    return answers.paper(
        whole,
        locked.site,
        title=locked.title,
        told=list(_told(locked, recounted)),
        definitions=kept_definitions(locked),
    )


@csp_update({"style-src": [UNSAFE_INLINE]})
@require_safe
@needs(Action.AUDIT)
def curve_svg(request: StaffRequest, pk: int) -> HttpResponse:
    """Opened by itself the drawing needs its own inline styles, which no other page allows."""
    return _drawn(request, find(request, access.locked_audit_for, pk), "svg")


@require_safe
@needs(Action.AUDIT)
def drawing(request: StaffRequest, pk: int, kind: str) -> HttpResponse:
    return _drawn(request, find(request, access.locked_audit_for, pk), kind)


def _drawn(request: StaffRequest, locked: LockedAudit, kind: str) -> HttpResponse:
    report = report_of(_rows(locked), minimum_at_risk=locked.minimum_at_risk)
    return answers.drawing(request, report, locked.site, kind)


def _told(locked: LockedAudit, recounted: Sequence[Differs]) -> Iterator[str]:
    """What paper says under the title."""
    zone = locked.site.time_zone
    if locked.withdrawn_at:
        yield f"WITHDRAWN on {wall_clock(locked.withdrawn_at, zone)}: {locked.withdrawn_because}"
    yield (
        f"Locked by {locked.locked_by} on {wall_clock(locked.locked_at, zone)} at {locked.site}. "
        f"Data lock {locked.lock:%-d %B %Y}. Counted by {locked.program}."
    )
    yield f"SHA-256 of cohort and rows: {locked.rows_digest}"
    yield f"SHA-256 of figures and definitions: {locked.figures_digest}"
    if recounted:
        yield (
            "THE PROGRAM COUNTS OTHERWISE TODAY. From the same locked rows it gives other figures, which are "
            "those below. These are the ones that were locked:"
        )
    for figure in recounted:
        yield f"{figure.name}: {figure.then or 'no such figure'}; today {figure.today or 'no such figure'}"


def _rows(locked: LockedAudit) -> Cohort:
    with _readable(locked):
        return cohort_of(locked)


@contextmanager
def _readable(locked: LockedAudit) -> Iterator[None]:
    try:
        yield
    except OtherForm:
        raise Refused(
            f'The rows of "{locked.title}" were locked by another version of the program ({locked.program}), '
            "and this one cannot read them. Its page shows the figures that were kept with them.",
            code="other_form",
        ) from None
