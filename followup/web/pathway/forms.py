"""The text of a pathway as typed, and which courses go over to it."""

from __future__ import annotations

from django import forms

from followup.services.pathway_edit import EditPreview
from followup.web.kit.forms import Form


class PathwayForm(Form):
    text = forms.CharField(
        label="Text of the pathway",
        widget=forms.Textarea(attrs={"rows": 30, "spellcheck": "false"}),
        strip=False,
        help_text="In TOML. Lengths of time are ISO 8601, such as P7D or P1M, counted from the operation.",
    )

    def clean_text(self) -> str:
        """A browser sends CR LF; the stored text has plain line ends, or every edit would look new."""
        text: str = self.cleaned_data["text"]
        return text.replace("\r\n", "\n")


class MoveForm(forms.Form):
    """One box for each course under way: ticked, it goes over to the edited version."""

    move = forms.MultipleChoiceField(required=False)

    def __init__(self, data: object, preview: EditPreview) -> None:
        super().__init__(data)  # type: ignore[arg-type]  # the stubs name the mapping type, Django takes any
        self.fields["move"].choices = [  # type: ignore[attr-defined]  # a multiple choice has choices
            (str(effect.course_id), effect.name) for effect in preview.effects
        ]
