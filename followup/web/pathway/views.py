"""The planned reviews in force, and their editing with its effects in view."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods, require_safe

from followup.domain.roles import Action
from followup.queries.pathways import active_pathways, active_text
from followup.services.pathway_edit import EditPreview, accept_edit, preview_edit
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, needs
from followup.web.kit.forms import refusals_on
from followup.web.kit.pages import page
from followup.web.pathway.forms import MoveForm, PathwayForm


@require_safe
@needs(Action.SEE_LISTS)
def pathways(request: StaffRequest) -> HttpResponse:
    return page(request, "pathway/pathways.html", {"pathways": active_pathways()})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.EDIT_PATHWAYS)
def edit_pathway(request: StaffRequest, key: str) -> HttpResponse:
    """First the text, then what it would do, then the acceptance: each step is a page of its own."""
    text = active_text(key)
    if text is None:
        raise Http404("There is no such pathway.")
    form = PathwayForm(request.POST or None, initial={"text": text})
    preview: EditPreview | None = None
    if request.method == "POST" and form.is_valid():
        edited = form.cleaned_data["text"]
        with refusals_on(form):
            preview = preview_edit(key=key, text=edited, site=request.site, today=clock.today(request.site))
            if "accept" in request.POST:
                return _accept(request, key, edited, preview)
    context = {"form": form, "key": key, "preview": preview}
    return page(request, "pathway/edit.html", context)


def _accept(request: StaffRequest, key: str, text: str, preview: EditPreview) -> HttpResponse:
    chosen = MoveForm(request.POST, preview)
    move = [int(pk) for pk in chosen.cleaned_data["move"]] if chosen.is_valid() else []
    version = accept_edit(by=request.user, now=clock.now(), site=request.site, key=key, text=text, move=move)
    eyes = f"{len(move)} eye{'' if len(move) == 1 else 's'}"
    messages.success(request, f"{version.title}: version {version.version} is in force; {eyes} moved to it.")
    return redirect("pathways")
