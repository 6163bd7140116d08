from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

from followup.domain.words import CancelledBy, NotAttending, SessionKind
from followup.models import Session
from followup.queries.booking import Offer
from followup.queries.sessions import SessionRow
from followup.web.kit.forms import Form, date_field, time_field


class ChooseSession(Form):
    """One of the sessions on offer; anything else was full, past or elsewhere by now."""

    session = forms.ChoiceField(
        widget=forms.RadioSelect,
        label="Session",
        error_messages={
            "required": "Choose a session.",
            "invalid_choice": "That session is no longer on offer: full, cancelled or over. Choose another.",
        },
    )

    def __init__(self, *args: Any, offers: Sequence[Offer], **options: Any) -> None:
        super().__init__(*args, **options)
        self.sessions = {str(offer.session.pk): offer.session for offer in offers}
        session = self.fields["session"]
        assert isinstance(session, forms.ChoiceField)
        session.choices = [(pk, str(row)) for pk, row in self.sessions.items()]

    @property
    def chosen(self) -> Session:
        return self.sessions[self.cleaned_data["session"]]


class BookForm(ChooseSession):
    time = time_field(required=False, label="Time", help_text="Leave empty for the next free one.")
    note = forms.CharField(max_length=200, required=False)
    urgent = forms.BooleanField(
        required=False,
        label="Urgent",
        help_text="May take a place that is kept for urgent people until the day itself.",
    )


class CancelForm(Form):
    cancelled_by = forms.ChoiceField(
        choices=[
            ("", "Choose who"),
            *((word.value, word.label) for word in CancelledBy if word is not CancelledBy.DEATH),
        ],
        label="Who cancels",
    )
    reason = forms.CharField(max_length=200, label="Why")


class CancelSessionForm(Form):
    """Why, and where its people go: nowhere, or together to a session with room for all."""

    reason = forms.CharField(max_length=200, label="Why")
    move_to = forms.ChoiceField(
        required=False,
        label="Its people",
        error_messages={"invalid_choice": "That session has no room for all by now. Choose another."},
    )

    def __init__(self, *args: Any, rooms: Sequence[SessionRow], **options: Any) -> None:
        super().__init__(*args, **options)
        self.sessions = {str(row.session.pk): row.session for row in rooms}
        field = self.fields["move_to"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [
            ("", "Leave them to book"),
            *((str(row.session.pk), f"Move all to {_named(row)}") for row in rooms),
        ]

    @property
    def chosen(self) -> Session | None:
        return self.sessions.get(self.cleaned_data["move_to"])


def _named(row: SessionRow) -> str:
    session = row.session
    return f"{session.title}, {session.day:%a %-d %b %Y} {session.starts:%H:%M} ({row.free} free)"


class NotAttendedForm(Form):
    reason = forms.ChoiceField(
        choices=NotAttending.choices(), initial=NotAttending.NOT_KNOWN.value, label="Why"
    )


class SessionForm(Form):
    kind = forms.ChoiceField(choices=SessionKind.choices())
    title = forms.CharField(max_length=80, help_text="For example: Retina clinic, room 2.")
    day = date_field(label="First day")
    starts = time_field(label="Starts")
    ends = time_field(label="Ends")
    places = forms.IntegerField(min_value=1, max_value=500)
    urgent_places = forms.IntegerField(
        min_value=0,
        initial=0,
        label="Of these, kept for urgent people",
        help_text="Until the day itself nobody else is booked into them.",
    )
    weeks = forms.IntegerField(
        min_value=1,
        initial=1,
        label="How many weeks",
        help_text="1 for this day alone; 12 for twelve weeks in a row.",
    )
