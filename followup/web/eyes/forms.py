from __future__ import annotations

from django import forms

from followup.domain.words import YesNo
from followup.web.kit.forms import Form, choice_field


class EyeForm(Form):
    axial_length_mm = forms.DecimalField(
        max_digits=4, decimal_places=2, required=False, label="Axial length, mm", help_text="15 to 40."
    )
    staphyloma = choice_field(YesNo.choices(), YesNo.UNKNOWN.value, label="Posterior staphyloma")
    only_eye = forms.BooleanField(
        required=False,
        label="Only eye",
        help_text="The fellow eye has no useful sight. An only eye is called first.",
    )
