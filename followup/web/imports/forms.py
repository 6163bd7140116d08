"""Choosing a file, and saying what its columns are."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from django import forms
from django.conf import settings

from followup.domain.errors import FollowUpError
from followup.domain.words import Correction, Procedure, Side
from followup.interchange.sheets.column_map import ColumnMap, ColumnUse, accepted_map
from followup.interchange.sheets.columns import CATALOGUE, OF_A_VISIT, Column
from followup.interchange.sheets.plain_text import ENCODINGS, SEPARATORS
from followup.web.kit.forms import Form, choice_field

SHAPES = [
    ("visits", "A row a visit"),
    ("operations", "A row an operation"),
    ("timepoints", "A row an operation, and a column for each later visit"),
]
TARGETS = [("", "Leave alone"), *((column.name, column.meaning) for column in CATALOGUE.values())]
NOTATIONS = [
    ("", "As the clinic writes it"),
    ("decimal", "Decimal"),
    ("logmar", "logMAR"),
    ("letters", "Letters"),
]
ORDERS = [
    ("", "Only one reading possible"),
    ("day_first", "Day first"),
    ("month_first", "Month first"),
    ("iso", "Year first"),
]
UNITS = [("", "Not said"), ("days", "Days"), ("weeks", "Weeks"), ("months", "Months of 30.4375 days")]
STATED = [
    column
    for column in CATALOGUE.values()
    if column.subject not in OF_A_VISIT and (column.name == "side" or column.subject == "operation")
]


class UploadForm(Form):
    file = forms.FileField(
        label="File",
        help_text="CSV in any common encoding, XLSX, XLS or ODS. The file itself is not changed.",
    )

    map = forms.FileField(
        label="Column map, if you have one as a file",
        required=False,
        help_text="JSON, as the command line takes it. Without one you name the columns on the next page.",
    )

    def clean_map(self) -> ColumnMap | None:
        found = self.cleaned_data["map"]
        if found is None:
            return None
        try:
            return accepted_map(json.loads(found.read()))
        except ValueError as fault:
            raise forms.ValidationError(f"{found.name} is not a JSON file: {fault}.") from None
        except FollowUpError as fault:
            raise forms.ValidationError(fault.message) from None

    def clean_file(self) -> Any:
        found = self.cleaned_data["file"]
        if found.size > settings.SHEET_MAX_BYTES:
            most = settings.SHEET_MAX_BYTES // 1_000_000
            raise forms.ValidationError(f"The file is larger than {most} MB. Split it.")
        return found


class ReadingForm(Form):
    """How the bytes are read, where the first look got it wrong."""

    encoding = choice_field([("", "As found"), *ENCODINGS.items()], "")
    separator = choice_field(
        [("", "As found"), *((mark, name.capitalize()) for mark, name in SEPARATORS.items())], ""
    )
    sheet = forms.CharField(required=False, max_length=80, label="Sheet of the workbook")
    headings = forms.IntegerField(
        required=False, min_value=0, max_value=1000, label="Row of the headings", help_text="0: found"
    )

    def __init__(self, *args: Any, sheets: Sequence[str] = (), **options: Any) -> None:
        super().__init__(*args, **options)
        if len(sheets) > 1:
            chosen = [("", "First that holds anything"), *((name, name) for name in sheets)]
            self.fields["sheet"] = choice_field(chosen, "", label="Sheet of the workbook")


class ColumnForm(Form):
    """One column of the file. Boxes that do not concern its kind are left as they are."""

    target = choice_field(TARGETS, "", label="Is")
    at = forms.CharField(
        required=False,
        max_length=12,
        label="Time after the operation",
        help_text="P0D, P2W, P3M; empty: by row",
    )
    side = choice_field([("", "The eye of the row"), *Side.choices()], "", label="Eye")
    notation = choice_field(NOTATIONS, "", label="A number alone is")
    correction = choice_field(Correction.choices(), Correction.UNKNOWN.value)
    date_order = choice_field(ORDERS, "", label="Dates")
    unit = choice_field(UNITS, "", label="Interval in")
    codes = forms.CharField(required=False, label="Codes", help_text="0 = right, 1 = left")
    missing = forms.CharField(required=False, label="Means not known", help_text="-9, 999")
    partial_dates = forms.BooleanField(required=False, label="Take partly known dates")
    recovered = forms.BooleanField(
        required=False,
        label="Its dates are fractions",
        help_text="Each date that can be one fraction is taken as that fraction, and marked as approximate.",
    )
    calling_code = forms.CharField(
        required=False, max_length=3, label="Calling code", help_text="44; of numbers written without one"
    )

    def definition(self, heading: str) -> dict[str, Any]:
        """The column as a map holds it. Call on a valid form whose target is not empty."""
        said = {name: value for name, value in self.cleaned_data.items() if value not in ("", None, False)}
        return said | {
            "column": heading,
            "codes": _pairs(self.cleaned_data["codes"]),
            "missing": _listed(self.cleaned_data["missing"]),
        }


def column_initial(use: ColumnUse) -> dict[str, Any]:
    """The boxes for a column that is known."""
    return use.model_dump(mode="json", exclude={"column"}, exclude_none=True) | {
        "codes": ", ".join(f"{text} = {meant}" for text, meant in use.codes.items()),
        "missing": ", ".join(use.missing),
    }


class SheetForm(Form):
    """What holds for the whole file."""

    shape = forms.ChoiceField(choices=SHAPES, label="The file has")
    visit_needs_finding = forms.BooleanField(required=False, label="A row without any finding is no visit")
    flip_column = forms.CharField(required=False, label="Rows of the other eye: column")
    flip_values = forms.CharField(required=False, label="Rows of the other eye: values of that column")
    keep_as = forms.CharField(
        required=False, max_length=80, label="Keep this reading for the next such file, as"
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        for column in STATED:
            self.fields[f"stated_{column.name}"] = _stated_field(column)

    @property
    def of_file(self) -> list[forms.BoundField]:
        return [self[name] for name in self.fields if not name.startswith("stated_")]

    @property
    def of_rows(self) -> list[forms.BoundField]:
        return [self[name] for name in self.fields if name.startswith("stated_")]

    def definition(self) -> dict[str, Any]:
        """The map without its columns. Call on a valid form."""
        said = self.cleaned_data
        flip = said["flip_column"]
        values = _listed(said["flip_values"])
        return {
            "shape": said["shape"],
            "visit_needs_finding": said["visit_needs_finding"],
            "constants": {
                column.name: text for column in STATED if (text := said[f"stated_{column.name}"].strip())
            },
            "rules": [{"kind": "other_side", "column": flip, "values": values}] if flip else [],
        }


def sheet_initial(shape: str, column_map: ColumnMap | None) -> dict[str, Any]:
    if column_map is None:
        return {"shape": shape}
    rule = column_map.rules[0] if column_map.rules else None
    return {
        "shape": column_map.shape,
        "visit_needs_finding": column_map.visit_needs_finding,
        "flip_column": rule.column if rule else "",
        "flip_values": ", ".join(rule.values) if rule else "",
        "keep_as": column_map.name,
        **{f"stated_{name}": text for name, text in column_map.constants.items()},
    }


def _stated_field(column: Column) -> forms.Field:
    label = column.meaning.rstrip(".")
    if column.kind and column.kind is not Procedure:
        return choice_field([("", "Not stated"), *column.kind.choices()], "", label=label)
    return forms.CharField(required=False, max_length=200, label=label)


def _listed(text: str) -> list[str]:
    return [part.strip() for part in text.split(",") if part.strip()]


def _pairs(text: str) -> dict[str, str]:
    """Codes as typed: "0 = right, 1 = left"; a code before nothing means missing."""
    parts = (part.partition("=") for part in _listed(text))
    return {code.strip(): meant.strip() for code, _, meant in parts}
