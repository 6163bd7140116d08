"""Signing in and out, and choosing the clinic to work at."""

from __future__ import annotations

from django.contrib.auth.views import LoginView, LogoutView
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import resolve_url
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from followup.web.kit.access import SITE_IN_SESSION, StaffRequest, needs


class SignIn(LoginView):
    template_name = "staff/sign_in.html"
    redirect_authenticated_user = True


class SignOut(LogoutView):
    http_method_names = ["post", "options"]


@require_POST
@needs(None)
def choose_site(request: StaffRequest) -> HttpResponse:
    """Work at another of one's clinics from now on. A clinic that is not one's own changes nothing."""
    chosen = next((site for site in request.sites if str(site.pk) == request.POST.get("site")), None)
    if chosen is not None:
        request.session[SITE_IN_SESSION] = chosen.pk
    return HttpResponseRedirect(_after(request))


def _after(request: StaffRequest) -> str:
    """The page they came from, if it is one of ours; the framework's own check decides."""
    wanted = request.POST.get("next", "")
    ours = url_has_allowed_host_and_scheme(
        wanted, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return wanted if ours else resolve_url("home")
