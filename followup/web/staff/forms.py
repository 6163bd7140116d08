from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

from followup.domain.roles import Role
from followup.models import Site
from followup.models.choices import BARE_ACUITY
from followup.web.kit.forms import Form

_ROLES = [(role.value, role.label) for role in Role]


class ChooseSites(Form):
    """A form that asks for some of the clinics of the person who fills it in."""

    sites = forms.ModelMultipleChoiceField(
        Site.objects.none(), widget=forms.CheckboxSelectMultiple, label="Clinics", required=False
    )

    def __init__(self, *args: Any, sites: Sequence[Site], **options: Any) -> None:
        super().__init__(*args, **options)
        field = self.fields["sites"]
        assert isinstance(field, forms.ModelMultipleChoiceField)
        field.queryset = Site.objects.filter(pk__in=[site.pk for site in sites]).order_by("name", "id")


class AddStaffForm(ChooseSites):
    field_order = ["username", "given_name", "family_name", "email", "role", "sites", "password"]
    username = forms.CharField(
        max_length=150,
        label="Name to sign in with",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    given_name = forms.CharField(max_length=150, required=False)
    family_name = forms.CharField(max_length=150, required=False)
    email = forms.EmailField(required=False, label="E-mail")
    role = forms.ChoiceField(choices=_ROLES)
    password = forms.CharField(
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        strip=False,
        label="First password",
        help_text="At least 10 characters. They cannot sign in without one.",
    )


class ChangeStaffForm(ChooseSites):
    role = forms.ChoiceField(choices=_ROLES)
    is_active = forms.BooleanField(required=False, label="May sign in")


class PasswordForm(Form):
    password = forms.CharField(
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}), strip=False, label="New password"
    )


class SiteForm(forms.ModelForm):  # type: ignore[type-arg]  # the class takes no argument at run time
    """The settings of a clinic; the service checks and saves them."""

    use_required_attribute = False
    bare_acuity = forms.ChoiceField(
        choices=[("", "Nothing: it is refused"), *BARE_ACUITY],
        required=False,
        label="A bare acuity number means",
        help_text="0.3 alone may be a decimal or logMAR; it is never guessed.",
    )

    class Meta:
        model = Site
        fields = [
            "name",
            "time_zone",
            "phone",
            "urgent_phone",
            "horizon_days",
            "ladder",
            "bare_acuity",
            "digest_email",
            "digest_hour",
            "address",
            "language",
            "reminder_days",
            "reminder_minimum_hours",
            "quiet_from_hour",
            "quiet_until_hour",
            "country",
            "sessions_weeks_ahead",
            "curve_minimum_at_risk",
            "expected_recurrence_percent",
            "calendar_initials",
            "sends_invitations",
        ]
        labels = {
            "phone": "Telephone",
            "urgent_phone": "Telephone out of hours",
            "horizon_days": "Book how many days ahead",
            "ladder": "Recall ladder",
            "digest_email": "Who gets the morning digest",
            "digest_hour": "Hour of the morning digest",
            "address": "Postal address",
            "language": "Language of messages and letters",
            "reminder_days": "Remind how many days before",
            "reminder_minimum_hours": "No reminder later than this many hours before",
            "quiet_from_hour": "Quiet from, hour",
            "quiet_until_hour": "Quiet until, hour",
            "country": "Country of the public holidays",
            "sessions_weeks_ahead": "Open sessions how many weeks ahead",
            "curve_minimum_at_risk": "Fewest eyes for which a curve is drawn",
            "expected_recurrence_percent": "Expected recurrence within six months, %",
            "calendar_initials": "Initials in calendars",
            "sends_invitations": "Invite by e-mail",
        }

    def add_refusal(self, fault: Any) -> None:
        self.add_error(fault.field if fault.field in self.fields else None, fault.message)
