from __future__ import annotations

from django import forms

from followup.domain.words import Sex
from followup.web.kit.forms import Form, choice_field, date_field


class PatientForm(Form):
    record_number = forms.CharField(
        max_length=40, label="Record number", help_text="As printed, with its leading zeros."
    )
    family_name = forms.CharField(max_length=80, required=False)
    given_name = forms.CharField(max_length=80, required=False)
    birth_date = date_field(required=False)
    sex = choice_field(Sex.choices(), Sex.UNKNOWN.value)
    phone = forms.CharField(max_length=60, required=False, label="Telephone")
    email = forms.EmailField(required=False, label="E-mail")
    language = forms.CharField(
        max_length=20, required=False, help_text="Messages and letters are written in English or Arabic."
    )
    postal_address = forms.CharField(
        required=False, widget=forms.Textarea, help_text="As on an envelope, without the name."
    )
    time_zone = forms.CharField(
        max_length=64,
        required=False,
        label="Time zone",
        help_text="Only if not the clinic's, such as Africa/Cairo: nothing is sent in their night.",
    )
    contact_note = forms.CharField(
        required=False,
        widget=forms.Textarea,
        label="How to reach this person safely",
        help_text="Whose telephone it is, when to call, who may be told.",
    )
