"""Signing, undoing, a death and a transfer."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client

from followup.models import Decision, Eye, Site, Staff
from tests.builders import TODAY, days, make_appointment, make_attempt, make_exam, make_staff
from tests.web.stories import gas_eye, oil_eye, send, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_nine")]


@pytest.fixture
def client(harbour: Site, enter: Callable[[Staff], Client]) -> Client:
    return enter(make_staff(role="surgeon", site=harbour, first_name="Robin", last_name="Sands"))


@pytest.fixture
def eye(harbour: Site) -> Eye:
    return oil_eye(harbour, days(-120))


def test_oil_is_kept_with_reason_and_review_and_the_list_says_who_decided(client: Client, eye: Eye) -> None:
    address = f"/eyes/{eye.pk}/decide/?kind=keep_oil"
    assert '<option value="keep_oil" selected>' in text_of(client.get(address))
    page = text_of(
        send(client, address, kind="keep_oil", reason="Low pressure without", review_on="2026-09-01")
    )
    assert "Signed: Keep the oil in" in page
    listed = text_of(client.get("/oil/"))
    assert "Kept until 1 Sep 2026" in listed
    assert "Signed by Robin Sands, 2 Mar 2026: Low pressure without" in listed


REFUSED = [
    ({"kind": "keep_oil", "review_on": "2027-09-01"}, "id_review_on_error", "by 2 Mar 2027 at the latest"),
    ({"kind": "keep_oil"}, "id_review_on_error", "Say by when"),
    ({"kind": "see_again"}, "id_review_on_error", "Say when to see the eye again"),
    ({"kind": "discharge"}, "id_kind_error", "It must be taken out"),
    ({"kind": "transfer"}, "id_to_whom_error", "Say where to"),
    ({"kind": "plan", "reason": ""}, "id_reason_error", "This field is required."),
    ({"kind": "died"}, "id_kind_error", "not one of the available choices"),
]


@pytest.mark.parametrize(("typed", "field", "said"), REFUSED)
def test_what_may_not_be_signed_is_refused_beside_its_field(
    client: Client, eye: Eye, typed: dict[str, str], field: str, said: str
) -> None:
    page = text_of(send(client, f"/eyes/{eye.pk}/decide/", **({"reason": "Because"} | typed)))
    assert said in page[page.index(f'id="{field}"') :][:400]
    assert not Decision.objects.exists()


def test_a_visit_is_signed_to_stand_for_a_milestone(harbour: Site, client: Client) -> None:
    eye = gas_eye(harbour, days(-60))
    exam = make_exam(eye=eye, day=days(-59))
    typed = {"kind": "stands_for", "reason": "Seen early", "visit": exam.visit_id, "milestone_key": "M1"}
    send(client, f"/eyes/{eye.pk}/decide/", **typed)
    page = text_of(client.get(f"/eyes/{eye.pk}/"))
    assert "as a clinician signed" in page
    assert "stands for M1" in page


def test_an_undone_decision_stays_in_sight(client: Client, eye: Eye) -> None:
    refused = text_of(send(client, f"/eyes/{eye.pk}/decide/", kind="lost", reason="Moved abroad"))
    assert "given up only once a letter of warning has gone out" in refused
    make_attempt(patient=eye.patient, channel="letter", result="sent", is_warning=True)
    assert "The last went out on 1 Mar 2026" in text_of(client.get(f"/eyes/{eye.pk}/decide/?kind=lost"))
    send(client, f"/eyes/{eye.pk}/decide/", kind="lost", reason="Moved abroad")
    assert "Closed on 2 Mar 2026" in " ".join(
        text_of(client.get(f"/eyes/{eye.pk}/")).replace('<span class="nowrap">', "").split()
    )
    address = f"/decisions/{Decision.objects.get().pk}/undo/"
    page = text_of(send(client, address, reason="Came back"))
    assert "Undone by Robin Sands: Came back" in page
    assert "past its limit since" in page


def test_a_transfer_stays_open_until_it_is_accepted(client: Client, eye: Eye) -> None:
    send(client, f"/eyes/{eye.pk}/decide/", kind="transfer", reason="Moved", to_whom="Quay Clinic")
    page = text_of(client.get(f"/eyes/{eye.pk}/"))
    assert "not accepted yet, so the eye stays open" in page
    address = f"/decisions/{Decision.objects.get().pk}/accept/"
    assert "the eye is closed here." in text_of(send(client, address, accepted_on="2026-03-02"))


def test_a_death_closes_both_eyes_cancels_and_can_be_undone(
    harbour: Site, enter: Callable[[Staff], Client], eye: Eye
) -> None:
    coordinator = enter(make_staff(site=harbour))
    other = gas_eye(harbour, days(-40), patient=eye.patient, side="left")
    place = make_appointment(patient=eye.patient, day=days(7))
    address = f"/patients/{eye.patient_id}/death/"
    typed = {"died_on": str(TODAY), "source": "Her daughter"}
    assert "This field is required." in text_of(send(coordinator, address, **typed))
    page = text_of(send(coordinator, address, **typed, checked="on"))
    assert "<strong>Died on 2 Mar 2026.</strong>" in page
    assert "a second person must confirm it" in page
    assert "Record a visit from before the death" in page
    assert "same-day care" not in page
    assert not Decision.objects.exists()
    confirm = f"/patients/{eye.patient_id}/death/confirm/"
    assert "Somebody else at the clinic confirms it" in text_of(send(coordinator, confirm, checked="on"))
    surgeon = enter(make_staff(role="surgeon", site=harbour))
    assert "A death is reported" in text_of(surgeon.get("/"))
    assert "both eyes are closed" in text_of(send(surgeon, confirm, checked="on"))
    assert set(Decision.objects.values_list("eye_id", flat=True)) == {eye.pk, other.pk}
    place.refresh_from_db()
    assert (place.state, place.cancelled_by) == ("cancelled", "death")
    page = text_of(send(coordinator, f"/patients/{eye.patient_id}/death/undo/", reason="Same name"))
    assert "both eyes are open again" in page
    assert "Died on" not in page
