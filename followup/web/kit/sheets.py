"""Rows on a page as a file to take along, which the history remembers."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

from django.http import HttpResponse

from followup.interchange.sheets.write import csv_text
from followup.interchange.sheets.xlsx import workbook
from followup.services.reads import record_download
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest

SHEET_TYPES = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}


def sheet_response(
    request: StaffRequest, rows: Iterable[Sequence[str | int | float | Decimal]], kind: str, *, what: str
) -> HttpResponse:
    """`rows` with their headings, as kind csv or xlsx; `what` names the file and stands in the history."""
    told = list(rows)
    now = clock.now()
    record_download(
        by=request.user,
        now=now,
        site=request.site,
        what=what,
        kind=kind,
        asked=request.GET.urlencode(),
        rows=len(told) - 1,
    )
    name = f"{what.replace('_', '-')}-{clock.today(request.site)}.{kind}"
    return HttpResponse(
        csv_text(told) if kind == "csv" else workbook(told, what.replace("_", " ").capitalize()),
        content_type=SHEET_TYPES[kind],
        headers={
            "Content-Disposition": f'attachment; filename="{name}"',
            "Cache-Control": "private, no-cache",
        },
    )
