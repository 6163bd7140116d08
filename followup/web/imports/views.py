"""A file is chosen, its columns are named, each row's outcome is looked at, and then it is confirmed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

from django.contrib import messages
from django.forms import BoundField
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from followup.domain.errors import FollowUpError
from followup.domain.roles import Action
from followup.interchange.sheets.apply import check_import, confirm_import, sheet_of, take_sheet
from followup.interchange.sheets.check import MADE, OUTCOMES
from followup.interchange.sheets.column_map import ColumnMap, accepted_map
from followup.interchange.sheets.parts import LONG
from followup.interchange.sheets.read import Sheet, read_sheet
from followup.interchange.sheets.recognise import Proposal, Question, recognise
from followup.interchange.sheets.write import problem_rows
from followup.models import ImportBatch
from followup.queries import access
from followup.queries.imports import maps_at, rows_of, sheets_at
from followup.services.import_jobs import queue_import, stop_import
from followup.services.import_undo import undo_import
from followup.services.imports import BEGUN, discard_import, keep_sheet, save_column_map
from followup.web.imports.forms import (
    ColumnForm,
    ReadingForm,
    SheetForm,
    UploadForm,
    column_initial,
    sheet_initial,
)
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, find, needs
from followup.web.kit.forms import refusals_on
from followup.web.kit.pages import page
from followup.web.kit.paging import page_of

SAMPLES = 5
WITH_PROBLEMS = ("human", "refused")


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.IMPORT)
def imports(request: StaffRequest) -> HttpResponse:
    form = UploadForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            file = form.cleaned_data["file"]
            batch = take_sheet(
                by=request.user, now=clock.now(), site=request.site, file_name=file.name, content=file.read()
            )
            if form.cleaned_data["map"] is None:
                return redirect("import_columns", pk=batch.pk)
            return _check_by(request, batch, form.cleaned_data["map"])
    rows = page_of(request, sheets_at(request.user, request.site))
    return page(request, "imports/list.html", {"form": form, "rows": rows})


@dataclass(frozen=True, slots=True)
class ColumnShown:
    heading: str
    form: ColumnForm
    samples: list[str]
    questions: list[Question]

    @property
    def asked(self) -> list[tuple[Question, BoundField]]:
        """Each question with the box that answers it."""
        return [(question, self.form[question.asks]) for question in self.questions]

    @property
    def others(self) -> list[BoundField]:
        """The boxes that no question points at."""
        shown = {"target", *(question.asks for question in self.questions)}
        return [field for field in self.form if field.name not in shown]

    @property
    def is_faulty(self) -> bool:
        return any(field.errors for field in self.others)


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.IMPORT)
def columns(request: StaffRequest, pk: int) -> HttpResponse:
    """What each column is: proposed, or by a saved map, or as it was said last."""
    batch = find(request, access.import_for, pk)
    if batch.state in BEGUN:
        return redirect("import", pk=pk)
    if request.method == "POST" and "use_map" in request.POST:
        return _use_map(request, batch)
    data = request.POST if request.method == "POST" else None
    known = _known_map(request, batch)
    reading = _reading(request, known)
    sheet = read_sheet(
        bytes(batch.content),
        encoding=reading["encoding"],
        separator=reading["separator"],
        sheet=reading["sheet"],
        headings=reading["headings"],
    )
    proposal = recognise(sheet)
    form = SheetForm(data, initial=sheet_initial(proposal.shape, known))
    shown = _columns_shown(sheet, proposal, known, data)
    if data is not None and _all_valid(form, shown):
        with refusals_on(form):
            column_map = accepted_map(_definition(form, shown, reading))
            check_import(today=clock.today(batch.site), batch=batch, column_map=column_map)
            _keep_map(request, batch, column_map)
            return redirect("import", pk=pk)
    context = {
        "batch": batch,
        "sheet": sheet,
        "form": form,
        "columns": shown,
        "reading": ReadingForm(initial=reading, sheets=sheet.names),
        "used": reading,
        "maps": maps_at(batch.site),
    }
    return page(request, "imports/columns.html", context)


def _use_map(request: StaffRequest, batch: ImportBatch) -> HttpResponse:
    """Checks the rows by a kept reading as it stands, with whatever it says that no box of the page shows."""
    chosen = request.POST["use_map"]
    kept = maps_at(batch.site).filter(pk=chosen).first() if chosen.isdecimal() else None
    if kept is None:
        messages.error(request, "This kept reading is gone. Choose another.")
        return redirect("import_columns", pk=batch.pk)
    return _check_by(request, batch, accepted_map(kept.definition))


def _check_by(request: StaffRequest, batch: ImportBatch, column_map: ColumnMap) -> HttpResponse:
    """On to what each row would do; where the map does not fit the file, on to naming the columns."""
    try:
        check_import(today=clock.today(batch.site), batch=batch, column_map=column_map)
    except FollowUpError as fault:
        messages.error(request, fault.message)
        return redirect("import_columns", pk=batch.pk)
    return redirect("import", pk=batch.pk)


def _known_map(request: StaffRequest, batch: ImportBatch) -> ColumnMap | None:
    """The saved map that was chosen, else the one that the last check used."""
    chosen = request.GET.get("map", "")
    saved = maps_at(batch.site).filter(pk=chosen).first() if chosen.isdecimal() else None
    definition = saved.definition if saved else batch.definition
    return accepted_map(definition) if definition else None


def _reading(request: StaffRequest, known: ColumnMap | None) -> dict[str, Any]:
    """How the bytes are read: as asked for, else as the known map says, else as found."""
    said = request.POST if request.method == "POST" else request.GET
    form = ReadingForm(said)
    if any(name in said for name in form.fields) and form.is_valid():
        return form.cleaned_data | {"headings": form.cleaned_data["headings"] or 0}
    return {name: getattr(known or _AS_FOUND, name) for name in form.fields}


_AS_FOUND = SimpleNamespace(encoding="", separator="", sheet="", headings=0)


def _columns_shown(sheet: Sheet, proposal: Proposal, known: ColumnMap | None, data: Any) -> list[ColumnShown]:
    uses = {use.column: use for use in (known.columns if known else proposal.uses)}
    shown = []
    for place, heading in enumerate(sheet.headers):
        initial = column_initial(uses[heading]) if heading in uses else {}
        asked = [question for question in proposal.questions if question.column == heading and not known]
        if any(question.asks == "unit" for question in asked):
            initial["unit"] = ""
        form = ColumnForm(data, prefix=f"c{place}", initial=initial)
        shown.append(ColumnShown(heading, form, _samples(sheet, place), asked))
    return shown


def _samples(sheet: Sheet, place: int) -> list[str]:
    """The first few different texts of a column."""
    texts = (str(row.cells[place]) for row in sheet.rows if place < len(row.cells) and not row.ignored)
    found: list[str] = []
    for text in texts:
        if text.strip() and text not in found:
            found.append(text)
        if len(found) == SAMPLES:
            break
    return found


def _all_valid(form: SheetForm, shown: list[ColumnShown]) -> bool:
    return all([form.is_valid(), *(column.form.is_valid() for column in shown)])


def _definition(form: SheetForm, shown: list[ColumnShown], reading: dict[str, Any]) -> dict[str, Any]:
    used = [column for column in shown if column.form.cleaned_data["target"]]
    flips = {rule["column"] for rule in form.definition()["rules"]}
    left = [column.heading for column in shown if column not in used and column.heading not in flips]
    return {
        **form.definition(),
        **reading,
        "name": form.cleaned_data["keep_as"],
        "columns": [column.form.definition(column.heading) for column in used],
        "ignored": left,
    }


def _keep_map(request: StaffRequest, batch: ImportBatch, column_map: ColumnMap) -> None:
    if column_map.name:
        save_column_map(
            by=request.user,
            now=clock.now(),
            site=batch.site,
            name=column_map.name,
            definition=batch.definition,
        )


@require_safe
@needs(Action.IMPORT)
def outcome(request: StaffRequest, pk: int) -> HttpResponse:
    """What each row would do, or did."""
    batch = find(request, access.import_for, pk)
    if batch.state == "read":
        return redirect("import_columns", pk=pk)
    chosen = request.GET.get("outcome", "")
    rows = page_of(request, rows_of(batch, [chosen] if chosen in OUTCOMES else []))
    labels = dict(batch.rows.model.OUTCOMES)
    context = {
        "batch": batch,
        "rows": rows,
        "chosen": chosen if chosen in OUTCOMES else "",
        "sum": [(name, labels[name], batch.counts.get(name, 0)) for name in OUTCOMES],
        "made": [(name, batch.counts.get(name, 0)) for name in MADE.values()],
        "percent": batch.rows_done * 100 // max(1, batch.counts.get("read", 1)),
        "has_problems": any(batch.counts.get(name) for name in WITH_PROBLEMS),
    }
    return page(request, "imports/outcome.html", context)


@require_POST
@needs(Action.IMPORT)
def confirm(request: StaffRequest, pk: int) -> HttpResponse:
    """Writes a sheet at once; a long one, or one that stopped half way, is handed to the worker."""
    batch = find(request, access.import_for, pk)

    def act() -> str:
        if batch.state == "stopped" or batch.counts.get("read", 0) > LONG:
            queue_import(by=request.user, now=clock.now(), batch=batch)
            return f"{batch.file_name} is long and is written in the background, from within a minute."
        confirm_import(by=request.user, now=clock.now(), today=clock.today(batch.site), batch=batch)
        return f"{batch.file_name} is written. Every eye in it is planned."

    return _done(request, batch, act)


@require_POST
@needs(Action.IMPORT)
def stop(request: StaffRequest, pk: int) -> HttpResponse:
    batch = find(request, access.import_for, pk)

    def act() -> str:
        stop_import(by=request.user, now=clock.now(), batch=batch)
        return f"{batch.file_name} is stopped. Go on with it, or undo what is written."

    return _done(request, batch, act)


@require_POST
@needs(Action.IMPORT)
def undo(request: StaffRequest, pk: int) -> HttpResponse:
    batch = find(request, access.import_for, pk)

    def act() -> str:
        undo_import(by=request.user, now=clock.now(), batch=batch)
        return f"{batch.file_name} is undone: its records are gone, and what it changed is as before."

    return _done(request, batch, act)


@require_POST
@needs(Action.IMPORT)
def again(request: StaffRequest, pk: int) -> HttpResponse:
    """The same file once more, for another sheet of it or after it was undone: an import of its own."""
    batch = find(request, access.import_for, pk)
    copy = keep_sheet(
        by=request.user,
        now=clock.now(),
        site=batch.site,
        file_name=batch.file_name,
        content=bytes(batch.content),
    )
    return redirect("import_columns", pk=copy.pk)


def _done(request: StaffRequest, batch: ImportBatch, act: Callable[[], str]) -> HttpResponse:
    """Does it and says so, or says why not; either way back to the sheet's page."""
    try:
        messages.success(request, act())
    except FollowUpError as fault:
        messages.error(request, fault.message)
    return redirect("import", pk=batch.pk)


@require_POST
@needs(Action.IMPORT)
def discard(request: StaffRequest, pk: int) -> HttpResponse:
    batch = find(request, access.import_for, pk)
    try:
        discard_import(by=request.user, now=clock.now(), batch=batch)
        messages.success(request, f"{batch.file_name} is forgotten. Nothing of it was written.")
    except FollowUpError as fault:
        messages.error(request, fault.message)
        return redirect("import", pk=pk)
    return redirect("imports")


@require_safe
@needs(Action.IMPORT)
def problems(request: StaffRequest, pk: int) -> HttpResponse:
    """The rows that were not taken, with the reasons, to put right in the source."""
    batch = find(request, access.import_for, pk)
    rows = list(rows_of(batch, WITH_PROBLEMS))
    sheet = sheet_of(batch, accepted_map(batch.definition)) if batch.definition else sheet_of(batch)
    text = problem_rows(rows, sheet.headers, separator=sheet.separator or ",")
    response = HttpResponse(text, content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="import-{batch.pk}-problems.csv"'
    response["Cache-Control"] = "private, no-store"
    return response
