"""What is to be taken out, and whether it may name anybody."""

from __future__ import annotations

from typing import Any

from django import forms

from followup.queries.takeout.people import Days
from followup.web.kit.forms import Form

NAMED, UNNAMED = "named", "unnamed"
ZIP, XLSX, FHIR = "zip", "xlsx", "json"


_PEOPLE = [
    (UNNAMED, "Under codes: no name, number, address or free text"),
    (NAMED, "With names, numbers and notes"),
]
_FILES = [
    (ZIP, "CSV: one file a table, in a ZIP"),
    (XLSX, "XLSX: one sheet a table"),
    (FHIR, "HL7 FHIR R4: one transaction Bundle (JSON), with names only"),
]


class ExportForm(Form):
    who = forms.ChoiceField(
        label="People",
        choices=_PEOPLE,
        initial=UNNAMED,
        widget=forms.RadioSelect,
    )
    days = forms.ChoiceField(
        label="Days, under codes",
        choices=Days.choices(),
        initial=Days.SINCE.value,
        required=False,
        widget=forms.RadioSelect,
    )
    kind = forms.ChoiceField(
        label="File",
        choices=_FILES,
        initial=ZIP,
        widget=forms.RadioSelect,
    )

    def __init__(self, data: Any, *, may_name: bool) -> None:
        super().__init__(data)
        if not may_name:
            self._offer("who", _PEOPLE[:1])
            self._offer("kind", _FILES[:2])

    def _offer(self, name: str, choices: list[tuple[str, str]]) -> None:
        field = self.fields[name]
        assert isinstance(field, forms.ChoiceField)
        field.choices = choices

    def clean(self) -> dict[str, Any]:
        said = self.cleaned_data
        if said.get("kind") == FHIR and said.get("who") == UNNAMED:
            self.add_error(
                "kind", "A FHIR bundle is for another clinic's records: it names people. Choose CSV or XLSX."
            )
        return said
