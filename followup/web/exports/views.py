"""All records of a clinic as one file: with names for those who may, else under codes."""

from __future__ import annotations

import io
from collections.abc import Callable
from tempfile import TemporaryFile
from typing import BinaryIO

from django.conf import settings
from django.http import FileResponse
from django.http.response import HttpResponseBase
from django.views.decorators.http import require_http_methods

from followup.domain.roles import Action, may
from followup.interchange.exports.about import about
from followup.interchange.exports.archive import FullExport
from followup.interchange.exports.fhir import Bundle
from followup.queries.takeout.people import Days, Writer, named, unnamed
from followup.queries.takeout.tables import TABLES
from followup.services.reads import record_download
from followup.web.exports.forms import FHIR, NAMED, XLSX, ExportForm
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, needs
from followup.web.kit.forms import refusals_on
from followup.web.kit.pages import page


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.AUDIT)
def exports(request: StaffRequest) -> HttpResponseBase:
    may_name = may(request.user.role, Action.TAKE_OUT)
    form = ExportForm(request.POST or None, may_name=may_name)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            return _file(request, **form.cleaned_data)
    return page(request, "exports/exports.html", {"form": form, "tables": TABLES, "may_name": may_name})


def _file(request: StaffRequest, *, who: str, days: str, kind: str) -> HttpResponseBase:
    """Written to the disk first, so that a fault half way sends nothing."""
    written = TemporaryFile()  # noqa: SIM115  # the response closes it once it is sent
    try:
        rows = _writer(request, who, Days(days or Days.SINCE), kind)(written)
    except BaseException:
        written.close()
        raise
    record_download(
        by=request.user,
        now=clock.now(),
        site=request.site,
        what="full_export" if who == NAMED else "full_export_under_codes",
        kind=kind,
        asked=days if who != NAMED else "",
        rows=rows,
    )
    written.seek(0)
    name = f"records-{'named' if who == NAMED else 'codes'}-{clock.today(request.site)}.{kind}"
    answer = FileResponse(written, as_attachment=True, filename=name)
    answer["Cache-Control"] = "private, no-cache"
    return answer


def _writer(request: StaffRequest, who: str, days: Days, kind: str) -> Callable[[BinaryIO], int]:
    """Writes the file that was asked for, and says how many rows it holds."""

    def fhir(written: BinaryIO) -> int:
        bundle = Bundle(request.site, settings.BASE_URL)
        text = io.TextIOWrapper(written, "utf-8", newline="")
        bundle.write(text)
        text.detach()
        return bundle.resources

    def tables(written: BinaryIO) -> int:
        writer: Writer = named() if who == NAMED else unnamed(request.site, days)
        export = FullExport(
            request.site, writer, about=about(request.site, clock.today(request.site), writer)
        )
        (export.write_xlsx if kind == XLSX else export.write_zip)(written)
        return export.rows_written

    return fhir if kind == FHIR else tables
