from __future__ import annotations

from django import forms

from followup.domain.words import Channel, ContactResult, NotAttending
from followup.web.kit.forms import Form, date_field

RESULTS = [
    ContactResult.WILL_COME,
    ContactResult.CALL_BACK,
    ContactResult.NO_ANSWER,
    ContactResult.MESSAGE_LEFT,
    ContactResult.SENT,
    ContactResult.WRONG_NUMBER,
    ContactResult.REFUSED,
    ContactResult.SYMPTOMS,
    ContactResult.NOT_POSSIBLE,
]
"""What a call comes to, in the order of the keys 1 to 9."""
REASON_KEYS = dict(zip(NotAttending, "qwertasdfgzxcv", strict=True))
"""A letter for each reason, by the rows of the keyboard."""


class CallForm(Form):
    """A result is a button; everything else may stay as it is."""

    channel = forms.ChoiceField(choices=Channel.choices(), label="How")
    number_used = forms.CharField(max_length=60, required=False, label="Number or address used")
    reason = forms.ChoiceField(
        choices=[
            ("", "Not asked"),
            *((word.value, f"{word.label} [{key}]") for word, key in REASON_KEYS.items()),
        ],
        required=False,
        label="Why they did not come",
        widget=forms.Select(attrs={"data-keys": "".join(REASON_KEYS.values())}),
    )
    next_step_on = date_field(required=False, label="Call again on", help_text="Empty: as the ladder says.")
    is_warning = forms.BooleanField(required=False, label="This letter warns")
    note = forms.CharField(max_length=400, required=False)
    result = forms.ChoiceField(
        choices=ContactResult.choices(),
        widget=forms.HiddenInput,
        error_messages={"required": "Press the button, or the key, of what came of it."},
    )
