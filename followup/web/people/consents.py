"""What a person agreed to receive: seen, given and withdrawn."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods

from followup.domain.roles import Action
from followup.domain.words import Channel
from followup.queries import access
from followup.queries.contact import consents_of
from followup.services.consent import give_consent, withdraw_consent
from followup.web.kit import clock
from followup.web.kit.access import StaffRequest, find, log_read, needs
from followup.web.kit.forms import Form, date_field, refusals_on
from followup.web.kit.pages import page

_ASKED = [(channel.value, channel.label) for channel in Channel if channel.needs_consent]


class ConsentForm(Form):
    answer = forms.ChoiceField(
        choices=[("give", "Agrees to be reached"), ("withdraw", "Withdraws consent")], label="The person"
    )
    channel = forms.ChoiceField(choices=_ASKED, label="By")
    day = date_field(required=False, label="On", help_text="Leave empty for today.")


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Action.CONTACT)
def consents(request: StaffRequest, pk: int) -> HttpResponse:
    patient = find(request, access.patient_for, pk)
    log_read(request, patient)
    form = ConsentForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            _answer(request, pk, form)
            messages.success(request, f"What {patient} wants is kept.")
            return redirect("consents", pk=pk)
    return page(
        request, "people/consents.html", {"form": form, "patient": patient, "rows": consents_of(patient)}
    )


def _answer(request: StaffRequest, pk: int, form: ConsentForm) -> None:
    said = form.cleaned_data
    patient = access.patient_for(request.user, pk)
    about = {
        "by": request.user,
        "now": clock.now(),
        "today": clock.today(patient.site),
        "patient": patient,
        "channel": said["channel"],
    }
    if said["answer"] == "give":
        give_consent(**about, given_on=said["day"])
    else:
        withdraw_consent(**about, withdrawn_on=said["day"])
