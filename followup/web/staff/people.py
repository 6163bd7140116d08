"""Who signs in, with which role and where; and the settings of the clinic."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods, require_safe

from followup.domain.roles import Action
from followup.models import Site
from followup.queries import access
from followup.services.staff import add_staff, change_site, change_staff, set_password
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, find, needs
from followup.web.kit.forms import refusals_on
from followup.web.kit.pages import page
from followup.web.staff.forms import AddStaffForm, ChangeStaffForm, PasswordForm, SiteForm


@require_safe
@needs(Action.MANAGE_SITE)
def staff(request: StaffRequest) -> HttpResponse:
    rows = access.colleagues_of(request.user).prefetch_related("sites").order_by("username")
    return page(request, "staff/staff.html", {"rows": rows})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.MANAGE_SITE)
def add(request: StaffRequest) -> HttpResponse:
    form = AddStaffForm(request.POST or None, sites=request.sites, initial={"sites": [request.site]})
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            added = add_staff(by=request.user, now=clock.now(), **form.cleaned_data)
            messages.success(request, f"{added} can sign in as {added.username}.")
            return redirect("staff")
    return page(request, "staff/add.html", {"form": form})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.MANAGE_SITE)
def change(request: StaffRequest, pk: int) -> HttpResponse:
    member = find(request, access.colleague_for, pk)
    own = {site.pk for site in request.sites}
    kept = [site for site in member.sites.all() if site.pk not in own]
    initial = {"role": member.role, "is_active": member.is_active, "sites": list(member.sites.all())}
    form = ChangeStaffForm(request.POST or None, sites=request.sites, initial=initial)
    if request.method == "POST" and form.is_valid():
        said = dict(form.cleaned_data)
        with refusals_on(form):
            # Clinics that the administrator cannot see are not theirs to take away.
            sites: list[Site] = [*said.pop("sites"), *kept]
            change_staff(by=request.user, now=clock.now(), staff=member, sites=sites, **said)
            messages.success(request, f"{member} is changed.")
            return redirect("staff")
    return page(request, "staff/change.html", {"form": form, "member": member})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.MANAGE_SITE)
def password(request: StaffRequest, pk: int) -> HttpResponse:
    member = find(request, access.colleague_for, pk)
    form = PasswordForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            set_password(by=request.user, now=clock.now(), staff=member, **form.cleaned_data)
            messages.success(request, f"{member} has a new password.")
            return redirect("staff")
    return page(request, "staff/password.html", {"form": form, "member": member})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(None)
def own_password(request: StaffRequest) -> HttpResponse:
    member = find(request, access.colleague_for, request.user.pk)
    form = PasswordForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            member = set_password(by=request.user, now=clock.now(), staff=member, **form.cleaned_data)
            update_session_auth_hash(request, member)
            messages.success(request, "Your password is changed.")
            return redirect("home")
    return page(request, "staff/password.html", {"form": form, "member": member})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.MANAGE_SITE)
def settings(request: StaffRequest) -> HttpResponse:
    site = Site.objects.get(pk=request.site.pk)
    form = SiteForm(request.POST or None, instance=site)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            change_site(by=request.user, now=clock.now(), site=request.site, **form.cleaned_data)
            messages.success(request, "The settings of the clinic are changed.")
            return redirect("site_settings")
    return page(request, "staff/settings.html", {"form": form})
