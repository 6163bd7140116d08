from __future__ import annotations

from django import forms

from followup.web.kit.forms import Form


class ReportForm(Form):
    note = forms.CharField(
        max_length=400,
        widget=forms.Textarea,
        label="What they tell",
        help_text="Which eye, what they notice, since when, and the number to reach them on now.",
    )


class AnswerForm(Form):
    answer = forms.CharField(
        max_length=400,
        widget=forms.Textarea,
        label="What is to be done",
        help_text="Where and when they are seen today, or why not. It is signed with your name.",
    )
