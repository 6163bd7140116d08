"""One visit: what holds for the person, and both eyes side by side."""

from __future__ import annotations

from typing import Any

from django import forms
from django.db.models import QuerySet

from followup.domain.errors import FollowUpError
from followup.domain.words import (
    Complication,
    Correction,
    Hole,
    Lens,
    OuterRetina,
    Retina,
    Side,
    TamponadeSeen,
)
from followup.models import Appointment, Site
from followup.services.visits import AcuityEntry, ExamEntry
from followup.web.kit.forms import Form, choice_field, date_field

ACUITIES = {f"acuity_{word.value}": word for word in Correction}
NOT_EXAMINED = "not_examined"
_BARE = {
    "decimal": "A number alone is a decimal here.",
    "logmar": "A number alone is logMAR here.",
    "letters": "A number alone is ETDRS letters here.",
    "": "A number alone is not accepted here.",
}


class VisitForm(Form):
    day = date_field(label="Day of the visit")
    appointment = forms.ModelChoiceField(
        Appointment.objects.none(),
        required=False,
        empty_label="None: came without one",
        help_text="The appointment becomes attended.",
    )
    note = forms.CharField(required=False, widget=forms.Textarea)

    def __init__(self, *args: Any, places: QuerySet[Appointment] | None, **options: Any) -> None:
        super().__init__(*args, **options)
        appointment = self.fields["appointment"]
        assert isinstance(appointment, forms.ModelChoiceField)
        if places is None:
            del self.fields["appointment"]
        else:
            appointment.queryset = places


class ExamForm(Form):
    """One eye, as typed. Boxes left as they are say nothing and are not kept."""

    pressure = forms.CharField(max_length=40, required=False, help_text="mmHg, or soft, firm, hard.")
    retina = choice_field(Retina.choices(), NOT_EXAMINED)
    hole = choice_field(Hole.choices(), NOT_EXAMINED, label="Macular hole")
    tamponade_seen = choice_field(
        TamponadeSeen.choices(),
        NOT_EXAMINED,
        help_text="Only None here clears the cautions of a gas.",
    )
    fill_percent = forms.IntegerField(min_value=0, max_value=100, required=False, label="Fill, per cent")
    lens = choice_field(Lens.choices(), NOT_EXAMINED)
    outer_retina = choice_field(OuterRetina.choices(), NOT_EXAMINED, label="Outer retina")
    complications = forms.MultipleChoiceField(
        choices=Complication.choices(), required=False, widget=forms.CheckboxSelectMultiple
    )
    note = forms.CharField(required=False, widget=forms.Textarea)

    def __init__(self, data: Any, *, side: Side, site: Site, initial: dict[str, Any] | None) -> None:
        super().__init__(data, prefix=side.value, initial=initial)
        self.side = side
        for name, word in ACUITIES.items():
            self.fields[name] = forms.CharField(max_length=60, required=False, label=_acuity_label(word))
        first = next(iter(ACUITIES))
        self.fields[
            first
        ].help_text = f"As written: 6/12, 20/40, logMAR 0.3, 70 letters, CF, HM. {_BARE[site.bare_acuity]}"
        self.order_fields(list(ACUITIES))

    def entry(self) -> ExamEntry:
        """What was typed for this eye, for the service to read."""
        said = dict(self.cleaned_data)
        acuities = tuple(
            AcuityEntry(said[name], word.value) for name, word in ACUITIES.items() if said[name].strip()
        )
        return ExamEntry(
            side=self.side.value,
            acuities=acuities,
            **{name: value for name, value in said.items() if name not in ACUITIES},
        )

    def add_refusal(self, fault: FollowUpError) -> None:
        """An acuity is refused by its text, so the message goes to the box that holds that text."""
        what = fault.field.removeprefix(f"{self.side.value}-")
        if what == "acuity":
            what = next(
                (
                    name
                    for name in ACUITIES
                    if f'"{self.cleaned_data.get(name, "").strip()}"' in fault.message
                ),
                next(iter(ACUITIES)),
            )
        self.add_error(what if what in self.fields else None, fault.message)


def _acuity_label(correction: Correction) -> str:
    if correction is Correction.UNKNOWN:
        return "Acuity, correction not recorded"
    return f"Acuity, {correction.label[0].lower()}{correction.label[1:]}"


class VisitForms:
    """The three forms that are sent as one."""

    def __init__(
        self,
        data: Any,
        *,
        site: Site,
        places: QuerySet[Appointment] | None,
        initial: dict[str, dict[str, Any]],
    ) -> None:
        self.visit = VisitForm(data, places=places, initial=initial.get("visit"))
        self.exams = [
            ExamForm(data, side=side, site=site, initial=initial.get(side.value))
            for side in (Side.RIGHT, Side.LEFT)
        ]

    @property
    def parts(self) -> list[Form]:
        return [self.visit, *self.exams]

    @property
    def has_errors(self) -> bool:
        return any(part.errors for part in self.parts)

    def is_valid(self) -> bool:
        valid = [part.is_valid() for part in self.parts]
        return all(valid)

    def entries(self) -> list[ExamEntry]:
        return [exam.entry() for exam in self.exams]

    def add_refusal(self, fault: FollowUpError) -> None:
        side = fault.field.partition("-")[0]
        concerned = next((exam for exam in self.exams if exam.side.value == side), self.visit)
        concerned.add_refusal(fault)
