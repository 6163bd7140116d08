"""The day at a glance: the sum of standings, and what today asks of this person's role."""

from __future__ import annotations

from datetime import timedelta

from django.http import HttpResponse, JsonResponse
from django.views.decorators.http import require_safe

from followup.domain.roles import Action, may
from followup.queries.home import day_at_a_glance
from followup.queries.standing import operated_eyes, site_standings, sum_of_standings
from followup.web.home.asks import asks_of
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, needs
from followup.web.kit.pages import page

_TICK_IS_LATE = timedelta(minutes=15)


@require_safe
@needs(None)
def home(request: StaffRequest) -> HttpResponse:
    now = clock.now()
    glance = day_at_a_glance(request.site, clock.today(request.site))
    tick = glance.night.last_tick
    context = {
        "glance": glance,
        "deaths": glance.deaths_to_confirm if may(request.user.role, Action.SEE_PATIENTS) else (),
        "standings": list(glance.standings.items()),
        "asks": asks_of(request.user.role, glance),
        "now": now,
        "night_is_late": tick is not None and now - tick > _TICK_IS_LATE,
    }
    return page(request, "home/home.html", context)


@require_safe
@needs(None)
def standings_json(request: StaffRequest) -> HttpResponse:
    """The sum for another program: eyes by standing, and the operated eyes counted apart."""
    day = clock.today(request.site)
    answer = {
        "site": request.site.name,
        "day": day,
        "standings": sum_of_standings(site_standings(site=request.site, day=day)),
        "operated_eyes": operated_eyes(request.site).count(),
    }
    return JsonResponse(answer)
