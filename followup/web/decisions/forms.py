from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

from django import forms

from followup.domain.words import DecisionKind
from followup.queries.decisions import Choices
from followup.web.kit.forms import Form, date_field

_SIGNED = [word for word in DecisionKind if word is not DecisionKind.DIED]


class DecisionForm(Form):
    kind = forms.ChoiceField(choices=[("", "Choose what is decided"), *((w.value, w.label) for w in _SIGNED)])
    reason = forms.CharField(max_length=400, widget=forms.Textarea, label="Why")
    review_on = date_field(
        required=False,
        label="Review, or see again, on",
        help_text="Keep the oil in: by when the decision is reviewed, within 12 months. See again: the day.",
    )
    to_whom = forms.CharField(max_length=200, required=False, label="Transfer: to whom")
    accepted_on = date_field(
        required=False,
        label="Transfer: accepted on",
        help_text="Until it is accepted, the eye stays open here.",
    )
    visit = forms.ChoiceField(required=False, label="Stands for: which visit")
    milestone_key = forms.ChoiceField(required=False, label="Stands for: which milestone")
    pathway = forms.ChoiceField(
        required=False,
        label="Change of pathway: to which",
        help_text="The present course keeps its operation and its dates count from there.",
    )
    signed_on = date_field(required=False, label="Takes effect on", help_text="Empty: today.")

    def __init__(self, *args: Any, choices: Choices, **options: Any) -> None:
        super().__init__(*args, **options)
        self.visits = {str(visit.pk): visit for visit in choices.visits}
        self._offer("visit", ((pk, f"{visit.day:%-d %b %Y}") for pk, visit in self.visits.items()))
        self._offer(
            "milestone_key", ((m.key, f"{m.title}, {m.target:%-d %b %Y}") for m in choices.milestones)
        )
        self.pathways = {str(pathway.pk): pathway for pathway in choices.pathways}
        self._offer("pathway", ((pk, pathway.title) for pk, pathway in self.pathways.items()))

    def _offer(self, name: str, choices: Iterable[tuple[str, str]]) -> None:
        field = self.fields[name]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [("", "None"), *choices]

    def clean_visit(self) -> Any:
        return self.visits.get(self.cleaned_data["visit"])

    def clean_pathway(self) -> Any:
        return self.pathways.get(self.cleaned_data["pathway"])


class DeathForm(Form):
    died_on = date_field(label="Died on")
    source = forms.CharField(
        max_length=200, label="How the clinic knows", help_text="Who told, or which document."
    )
    checked = forms.BooleanField(
        label="I have checked that this is the right person",
        help_text="From now on no message is sent and nothing can be booked. Once a second person confirms "
        "it, both operated eyes close and everything booked is cancelled.",
    )


class ConfirmForm(Form):
    checked = forms.BooleanField(
        label="I have checked the person, the date and the source myself",
        help_text="Both operated eyes close and everything booked is cancelled. It can be undone, but "
        "cancelled places stay cancelled.",
    )


class AcceptForm(Form):
    accepted_on = date_field(label="Accepted on")

    def __init__(self, data: Any, *, today: date) -> None:
        super().__init__(data, initial={"accepted_on": today})
