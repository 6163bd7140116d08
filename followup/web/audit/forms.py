from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms

from followup.domain.errors import FollowUpError
from followup.domain.words import (
    Clock,
    Extent,
    Indication,
    Procedure,
    RecurrenceEvent,
    Repeat,
    Tamponade,
    YesNo,
)
from followup.models import Site
from followup.queries.cohort_choice import (
    LONGEST_HORIZON,
    BuckleChoice,
    CohortChoice,
    Errors,
    Stratum,
    TamponadeGroup,
    Unit,
)
from followup.web.kit.forms import Form, ReasonForm, date_field

_ANY = ("", "Any")
_UNREADABLE = "“%(value)s” is not one of the choices. Choose one from the list."
_MONTHS = dict.fromkeys(
    ("invalid", "min_value", "max_value"), f"Expected whole months, 1 to {LONGEST_HORIZON}."
)
_YES_NO = [("yes", "Yes"), ("no", "No")]
_FOLDED = (
    "surgeon",
    "repeat",
    "buckle",
    "extent",
    "only_eye",
    "staphyloma",
    "axial_length_from",
    "axial_length_below",
    "procedure",
    "also",
)
_TAMPONADES = {term.value: term for term in (*TamponadeGroup, *Tamponade)}


def _choice(label: str, choices: Sequence[tuple[str, str]], **options: Any) -> forms.ChoiceField:
    messages = {"invalid_choice": _UNREADABLE}
    return forms.ChoiceField(label=label, choices=choices, required=False, error_messages=messages, **options)


def _ticks(label: str, choices: Sequence[tuple[str, str]]) -> forms.MultipleChoiceField:
    return forms.MultipleChoiceField(
        choices=choices,
        required=False,
        label=label,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"invalid_choice": _UNREADABLE},
    )


def _length(label: str, help_text: str) -> forms.DecimalField:
    return forms.DecimalField(
        required=False,
        min_value=Decimal(15),
        max_value=Decimal(40),
        decimal_places=2,
        label=label,
        help_text=help_text,
    )


class CohortForm(Form):
    """Reads an address into a choice. Every box may stay empty; what cannot be read is refused by name."""

    site = _choice("Clinic", [])
    operated_from = date_field(required=False, label="Index operation from")
    operated_to = date_field(required=False, label="Index operation to")
    tamponade = _choice(
        "Tamponade left by it", [_ANY, *((code, term.label) for code, term in _TAMPONADES.items())]
    )
    indication = _ticks("Indication (any, where none is ticked)", Indication.choices())
    procedure = _ticks("Procedures (all that are ticked, done together)", Procedure.choices())
    event = _choice("Event", RecurrenceEvent.choices())
    clock = _choice("Clock starts at", Clock.choices())
    horizon = forms.IntegerField(
        required=False,
        min_value=1,
        max_value=LONGEST_HORIZON,
        label="Horizon, months",
        error_messages=_MONTHS,
    )
    lock = date_field(
        required=False, label="Data lock", help_text="Nothing dated later is counted. Empty: today."
    )
    limits = _choice("Limits", Errors.choices())
    eyes = _choice("Eyes of one patient", Unit.choices())
    also = _ticks("Counted together with", [])
    strata = _choice("Tell eyes apart by", [("", "Nothing"), *Stratum.choices()])
    surgeon = _choice("Surgeon", [_ANY])
    repeat = _choice("First or repeat", [_ANY, *Repeat.choices()])
    buckle = _choice("Buckle", [_ANY, *BuckleChoice.choices()])
    extent = _choice("Extent of detachment", [_ANY, *Extent.choices()])
    only_eye = _choice("Only eye", [_ANY, *_YES_NO])
    staphyloma = _choice("Staphyloma", [_ANY, *YesNo.choices()])
    axial_length_from = _length(
        "Axial length from, mm", "Eyes without one on record are left out, and counted."
    )
    axial_length_below = _length("Axial length below, mm", "")

    def __init__(
        self,
        data: Mapping[str, Any],
        *,
        sites: Sequence[Site],
        site: Site,
        surgeons: Sequence[tuple[str, str]],
        today: date,
    ) -> None:
        super().__init__(data)
        self.here, self.today = site, today
        self.surgeons = dict(surgeons)
        self._offer("site", [(str(one.pk), one.name) for one in sites])
        self._offer("surgeon", [_ANY, *surgeons])
        self._offer("also", [(str(one.pk), one.name) for one in sites if one != site])
        if len(sites) == 1:
            self.fields["site"].widget = forms.HiddenInput()
        self.choice: CohortChoice | None = None

    @property
    def narrowed(self) -> bool:
        """Does it ask for anything that stands in the folded part?"""
        return any(self[name].value() or self[name].errors for name in _FOLDED)

    @property
    def surgeon_name(self) -> str:
        """Of the surgeon asked for; "" for any."""
        return self.surgeons.get(self.choice.surgeon, "") if self.choice else ""

    def _offer(self, name: str, choices: list[tuple[str, str]]) -> None:
        field = self.fields[name]
        assert isinstance(field, forms.ChoiceField)
        field.choices = choices

    def clean(self) -> dict[str, Any]:
        for name in self.data:
            if name not in self.fields:
                self.add_error(None, f"The address asks for “{name}”, which this page does not know.")
        lock = self.cleaned_data.get("lock")
        if lock and lock > self.today:
            self.add_error("lock", f"{lock} has not come yet. The latest data lock is today, {self.today}.")
        if not self.errors:
            try:
                self.choice = self._chosen()
            except FollowUpError as fault:
                self.add_refusal(fault)
        return self.cleaned_data

    def _chosen(self) -> CohortChoice:
        said = self.cleaned_data
        return CohortChoice(
            site_id=int(said["site"] or self.here.pk),
            lock=said["lock"] or self.today,
            operated_from=said["operated_from"],
            operated_to=said["operated_to"],
            indications=tuple(Indication(code) for code in said["indication"]),
            procedures=tuple(Procedure(code) for code in said["procedure"]),
            tamponade=_TAMPONADES.get(said["tamponade"]),
            surgeon=said["surgeon"],
            repeat=Repeat(said["repeat"]) if said["repeat"] else None,
            buckle=BuckleChoice(said["buckle"]) if said["buckle"] else None,
            extent=Extent(said["extent"]) if said["extent"] else None,
            only_eye={"yes": True, "no": False}.get(said["only_eye"]),
            staphyloma=YesNo(said["staphyloma"]) if said["staphyloma"] else None,
            axial_length_from=said["axial_length_from"],
            axial_length_below=said["axial_length_below"],
            other_sites=tuple(int(site) for site in said["also"]),
            unit=Unit(said["eyes"] or Unit.ALL),
            strata=Stratum(said["strata"]) if said["strata"] else None,
            clock=Clock(said["clock"] or Clock.INDEX),
            event=RecurrenceEvent(said["event"] or RecurrenceEvent.REDETACHMENT),
            horizon=24 if said["horizon"] is None else said["horizon"],
            errors=Errors(said["limits"] or Errors.PATIENTS),
        )


class LockForm(Form):
    title = forms.CharField(
        max_length=120,
        label="Name",
        help_text="By which it is found again: the talk, the paper or the year that it is for.",
    )


class WithdrawForm(ReasonForm):
    """Names one of the audits offered, or none."""

    in_its_place = forms.ChoiceField(
        label="Another takes its place",
        choices=[],
        required=False,
        help_text="A locked audit of the same clinic that is to be used from now on.",
    )

    def __init__(self, data: Mapping[str, Any] | None, *, offered: Mapping[str, str]) -> None:
        super().__init__(data)
        field = self.fields["in_its_place"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [("", "None"), *offered.items()]
