"""The address of an audit page, read as a choice of cohort."""

from __future__ import annotations

from django.http import QueryDict

from followup.models import Site
from followup.queries.cohort_choice import CohortChoice
from followup.queries.cohorts import surgeons_at
from followup.web.audit.forms import CohortForm
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest

_NOT_ASKED = ("of", "page")
"""Parts of an address that say what of the audit to show, not which eyes to count."""


def read_choice(request: StaffRequest) -> CohortForm:
    """The address, judged: its clinic where it names one of this person's, else the current one."""
    asked = request.GET.copy()
    for name in _NOT_ASKED:
        asked.pop(name, None)
    site = next((one for one in request.sites if str(one.pk) == asked.get("site")), request.site)
    form = _form(request, site, asked)
    form.is_valid()
    return form


def form_of(request: StaffRequest, site: Site, choice: CohortChoice) -> CohortForm:
    """The form filled in as the choice was understood."""
    return _form(request, site, QueryDict(choice.query))


def _form(request: StaffRequest, site: Site, data: QueryDict) -> CohortForm:
    also = [one for one in request.sites if str(one.pk) in dict(data.lists()).get("also", [])]
    return CohortForm(
        data, sites=request.sites, site=site, surgeons=surgeons_at(site, *also), today=clock.today(site)
    )
