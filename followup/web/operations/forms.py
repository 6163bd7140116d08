from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.db.models import QuerySet

from followup.domain.words import DatePrecision, Extent, Indication, Procedure, Repeat, Side, Tamponade, YesNo
from followup.models import Appointment, Operation, Staff
from followup.web.kit.forms import Form, choice_field, date_field

_RESTARTS = {"": None, "yes": True, "no": False}


class OperationFields(Form):
    """What was done to an eye; which eye is said elsewhere."""

    date = date_field(label="Date of operation")
    date_precision = choice_field(
        DatePrecision.choices(), DatePrecision.DAY.value, label="How well the date is known"
    )
    indication = forms.ChoiceField(choices=[("", "Choose why"), *Indication.choices()], label="Why operated")
    repeat = choice_field(Repeat.choices(), Repeat.FIRST.value, label="First or repeat operation")
    procedures = forms.MultipleChoiceField(
        choices=Procedure.choices(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        label="What was done",
    )
    takes_out = forms.BooleanField(
        required=False,
        label="The tamponade that was in the eye was taken out",
        help_text="Tick for a removal and for an exchange.",
    )
    tamponade_in = forms.ChoiceField(
        choices=[("", "Choose what was left in the eye"), *Tamponade.choices()],
        label="Left in the eye",
        help_text="If the notes do not say, choose Unknown, check: never None.",
    )
    tamponade_percent = forms.IntegerField(
        min_value=0, max_value=100, required=False, label="Gas in air, per cent"
    )
    attached_at_end = choice_field(
        YesNo.choices(), YesNo.UNKNOWN.value, label="Retina attached at the end of surgery"
    )
    extent = choice_field(Extent.choices(), Extent.UNKNOWN.value, label="Extent of the detachment")
    surgeon = forms.ModelChoiceField(Staff.objects.none(), required=False, empty_label="Not listed")
    surgeon_name = forms.CharField(max_length=80, required=False, label="Surgeon, if not listed")
    restarts = forms.ChoiceField(
        required=False,
        label="Does follow-up start again from here?",
        choices=[("", "By rule: retinal surgery does"), ("yes", "Yes"), ("no", "No")],
    )
    note = forms.CharField(required=False, widget=forms.Textarea)

    def __init__(self, *args: Any, surgeons: QuerySet[Staff], **options: Any) -> None:
        super().__init__(*args, **options)
        surgeon = self.fields["surgeon"]
        assert isinstance(surgeon, forms.ModelChoiceField)
        surgeon.queryset = surgeons

    def clean_restarts(self) -> bool | None:
        return _RESTARTS[self.cleaned_data["restarts"]]


class OperationForm(OperationFields):
    field_order = ["side", "date"]
    side = forms.ChoiceField(choices=Side.choices(), widget=forms.RadioSelect, label="Eye operated on")
    appointment = forms.ModelChoiceField(
        Appointment.objects.none(),
        required=False,
        label="Theatre place it was done in",
        empty_label="None, or not booked here",
    )

    def __init__(self, *args: Any, places: QuerySet[Appointment], **options: Any) -> None:
        super().__init__(*args, **options)
        appointment = self.fields["appointment"]
        assert isinstance(appointment, forms.ModelChoiceField)
        appointment.queryset = places


def values_of(operation: Operation) -> dict[str, Any]:
    """What the correction form starts from."""
    names: Sequence[str] = [
        name for name in OperationFields.base_fields if name not in ("procedures", "restarts")
    ]
    said = {value: code for code, value in _RESTARTS.items()}
    procedures = operation.procedure_rows.values_list("procedure", flat=True)
    return {name: getattr(operation, name) for name in names} | {
        "procedures": list(procedures),
        "restarts": said[operation.restarts],
    }
