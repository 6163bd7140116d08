from __future__ import annotations

from typing import Any

from django import forms

from followup.domain.words import Channel, ContactResult, Lane, NotAttending, Standing
from followup.queries.recall import TO_DO, Wanted
from followup.web.kit.forms import Form, date_field

_ANY = [("", "Any")]


class Filters(Form):
    """What the recall list shows. Anything that cannot be read is left out, so a link never breaks."""

    standing = forms.ChoiceField(
        choices=[("todo", "To book and overdue"), *Standing.choices(), ("all", "All operated eyes")],
        required=False,
    )
    lane = forms.ChoiceField(choices=[*_ANY, *Lane.choices()], required=False, label="Lane")
    surgeon = forms.ChoiceField(choices=_ANY, required=False)
    only_eye = forms.BooleanField(required=False, label="Only eyes")
    call_due = forms.BooleanField(required=False, label="To contact by today")

    def __init__(self, *args: Any, surgeons: list[str], **options: Any) -> None:
        super().__init__(*args, **options)
        surgeon = self.fields["surgeon"]
        assert isinstance(surgeon, forms.ChoiceField)
        surgeon.choices = [*_ANY, *((name, name) for name in surgeons)]

    def wanted(self) -> Wanted:
        self.is_valid()
        chosen = self.cleaned_data
        call_due = bool(chosen.get("call_due"))
        return Wanted(
            standings=_standings(chosen.get("standing", ""), call_due),
            lane=Lane(chosen["lane"]) if chosen.get("lane") else None,
            only_eye=bool(chosen.get("only_eye")),
            surgeon=chosen.get("surgeon", ""),
            call_due=call_due,
        )


def _standings(chosen: str, call_due: bool) -> frozenset[Standing]:
    if chosen == "all" or (call_due and not chosen):
        return frozenset()
    return TO_DO if chosen in ("", "todo") else frozenset({Standing(chosen)})


class AttemptForm(Form):
    channel = forms.ChoiceField(choices=Channel.choices(), label="How")
    number_used = forms.CharField(
        max_length=60,
        required=False,
        label="Number or address used",
        help_text="Leave it as on record, or correct it.",
    )
    result = forms.ChoiceField(
        choices=[("", "Choose what came of it"), *ContactResult.choices()],
        help_text="New curtain, flashes, pain, sudden drop of sight: same-day care, never a routine place.",
    )
    reason = forms.ChoiceField(
        choices=[("", "Not asked"), *NotAttending.choices()], required=False, label="Why they did not come"
    )
    next_step_on = date_field(
        required=False,
        label="Next step on",
        help_text="Leave empty for the day that the clinic's ladder says.",
    )
    is_warning = forms.BooleanField(
        required=False,
        label="This letter warns",
        help_text="It says what is at stake if the eye is not seen. An only eye, or one with oil in it, is "
        "given up only after such a letter.",
    )
    note = forms.CharField(max_length=400, required=False, widget=forms.Textarea)
