"""Consent: for one channel of one person, from a day, until a day; what waits is withheld at once."""

from __future__ import annotations

from datetime import date

import pytest

from followup.domain.errors import FollowUpError
from followup.domain.words import Channel
from followup.models import Change, Consent, OutboxMessage
from followup.queries.contact import agrees_to, refuses
from followup.services.consent import give_consent, withdraw_consent
from followup.services.outbox import patient_key
from tests.builders import NOW, TODAY, days, make_message, make_patient, make_staff

pytestmark = pytest.mark.django_db

WRITTEN = (Channel.EMAIL, Channel.TEXT, Channel.LETTER)


@pytest.fixture
def asked():
    """Somebody, and who told us what they want."""
    patient = make_patient()
    return {"by": make_staff(site=patient.site), "now": NOW, "today": TODAY, "patient": patient}


def test_consent_is_given_and_withdrawn_channel_by_channel(asked) -> None:
    patient = asked["patient"]
    give_consent(**asked, channel="email", given_on=days(-10))
    give_consent(**asked, channel="text")
    withdraw_consent(**asked, channel="email", withdrawn_on=days(-1))
    assert [agrees_to(patient, way) for way in WRITTEN] == [False, True, False]
    assert [refuses(patient, way) for way in WRITTEN] == [True, False, False]
    kept = Consent.objects.order_by("id").values_list("channel", "given_on", "withdrawn_on")
    assert list(kept) == [("email", days(-10), days(-1)), ("text", TODAY, None)]


def test_every_change_of_mind_is_kept(asked) -> None:
    for _ in range(2):
        give_consent(**asked, channel="letter")
        withdraw_consent(**asked, channel="letter")
    verbs = Change.objects.order_by("id").values_list("verb", flat=True)
    assert list(verbs) == ["give_consent", "withdraw_consent"] * 2
    assert Change.objects.latest("id").after["withdrawn_on"] == TODAY.isoformat()


def test_withdrawing_withholds_what_waits_on_that_channel_of_that_person(asked) -> None:
    patient = asked["patient"]
    give_consent(**asked, channel="text")
    about = {"site": patient.site, "kind": "reminder"}
    for key, channel in [("a", "text"), ("b", "email")]:
        make_message(key=patient_key(patient, key), channel=channel, **about)
    make_message(key=patient_key(make_patient(), "c"), channel="text", **about)
    withdraw_consent(**asked, channel="text")
    states = OutboxMessage.objects.order_by("id").values_list("state", "problem")
    assert list(states) == [("withheld", "Consent was withdrawn."), ("due", ""), ("due", "")]


@pytest.mark.parametrize(
    ("channel", "given_on", "code"),
    [
        ("email", days(1), "in_the_future"),
        ("phone", TODAY, "bad_value"),
        ("pigeon", TODAY, "unknown_code"),
    ],
)
def test_a_consent_that_cannot_be_is_refused(asked, channel: str, given_on: date, code: str) -> None:
    with pytest.raises(FollowUpError) as refusal:
        give_consent(**asked, channel=channel, given_on=given_on)
    assert refusal.value.code == code
    assert not Consent.objects.exists()


@pytest.mark.parametrize(("withdrawn_on", "code"), [(days(1), "in_the_future"), (days(-11), "before_given")])
def test_a_withdrawal_lies_between_giving_and_today(asked, withdrawn_on: date, code: str) -> None:
    give_consent(**asked, channel="email", given_on=days(-10))
    with pytest.raises(FollowUpError) as refusal:
        withdraw_consent(**asked, channel="email", withdrawn_on=withdrawn_on)
    assert refusal.value.code == code


def test_nobody_agrees_twice_or_withdraws_what_was_not_given(asked) -> None:
    with pytest.raises(FollowUpError) as refusal:
        withdraw_consent(**asked, channel="email")
    assert refusal.value.code == "not_agreed"
    give_consent(**asked, channel="email")
    with pytest.raises(FollowUpError) as refusal:
        give_consent(**asked, channel="email")
    assert refusal.value.code == "already_agreed"


def test_the_dead_are_asked_nothing(asked) -> None:
    asked["patient"].died_on = days(-1)
    asked["patient"].save()
    with pytest.raises(FollowUpError) as refusal:
        give_consent(**asked, channel="email")
    assert refusal.value.code == "patient_died"
