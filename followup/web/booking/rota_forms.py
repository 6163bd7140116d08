from __future__ import annotations

from django import forms

from followup.domain.words import SessionKind
from followup.models import choices
from followup.web.kit.forms import Form, date_field, time_field


class PatternForm(Form):
    kind = forms.ChoiceField(choices=SessionKind.choices())
    title = forms.CharField(max_length=80, help_text="For example: Retina clinic, room 2.")
    weekday = forms.TypedChoiceField(choices=choices.WEEKDAYS, coerce=int)
    every_weeks = forms.IntegerField(
        min_value=1, max_value=52, initial=1, label="Every how many weeks", help_text="1 for every week."
    )
    starts = time_field(label="Starts")
    ends = time_field(label="Ends")
    places = forms.IntegerField(min_value=1, max_value=500)
    urgent_places = forms.IntegerField(
        min_value=0,
        initial=0,
        label="Of these, kept for urgent people",
        help_text="Until the day itself nobody else is booked into them.",
    )
    first_day = date_field(label="From", help_text="Counted from the first such weekday on or after it.")
    last_day = date_field(label="Until", required=False, help_text="Leave empty while it goes on.")


class EndPatternForm(Form):
    last_day = date_field(label="Last day")


class ExceptDayForm(Form):
    day = date_field(label="Day")
    left_out = forms.TypedChoiceField(
        choices=[("yes", "Left out"), ("no", "Held, also on a holiday or when shut")],
        coerce=lambda value: value == "yes",
        label="On this day the session is",
    )
    starts = time_field(label="Starts", required=False, help_text="Only if held at other hours.")
    ends = time_field(label="Ends", required=False)
    places = forms.IntegerField(min_value=1, max_value=500, required=False, help_text="Only if it differs.")
    reason = forms.CharField(max_length=200, label="Why")


class ClosureForm(Form):
    first_day = date_field(label="First day")
    last_day = date_field(label="Last day")
    reason = forms.CharField(max_length=200, label="Why", help_text="For example: new year, building work.")


class UnavailableForm(Form):
    first_day = date_field(label="First day")
    last_day = date_field(label="Last day")
    reason = forms.CharField(max_length=200, required=False, label="Why")
