"""Secret calendar addresses."""

from __future__ import annotations

import pytest

from followup.domain.errors import FollowUpError, NotAllowed
from followup.models import CalendarAddress, Change
from followup.queries.access import calendar_address_of_token
from followup.services.feeds import make_calendar_address, revoke_calendar_address
from tests.builders import NOW, make_operation
from tests.builders import make_calendar_address as given_address
from tests.services.conftest import Clinic, last_change


def test_the_token_opens_the_address_and_is_kept_nowhere(clinic: Clinic) -> None:
    address, token = make_calendar_address(
        by=clinic.administrator, now=NOW, site=clinic.site, label=" Ward screen "
    )
    assert (address.label, address.made_by, len(token) >= 43) == ("Ward screen", clinic.administrator, True)
    assert calendar_address_of_token(token) == address
    assert token not in f"{address.token_hash} {Change.objects.values_list('after')}"
    assert last_change().verb == "make_calendar_address"


def test_every_address_has_its_own_token(clinic: Clinic) -> None:
    made = [
        make_calendar_address(by=clinic.administrator, now=NOW, site=clinic.site, label="Screen")[1]
        for _ in range(3)
    ]
    assert len(set(made)) == 3


def test_a_revoked_address_opens_no_more(clinic: Clinic) -> None:
    address, token = make_calendar_address(by=clinic.administrator, now=NOW, site=clinic.site, label="Door")
    revoked = revoke_calendar_address(by=clinic.administrator, now=NOW, address=address)
    assert revoked.revoked_at == NOW
    with pytest.raises(CalendarAddress.DoesNotExist):
        calendar_address_of_token(token)
    assert (last_change().verb, last_change().before["revoked_at"]) == ("revoke_calendar_address", None)
    with pytest.raises(FollowUpError) as refused:
        revoke_calendar_address(by=clinic.administrator, now=NOW, address=address)
    assert refused.value.code == "already_revoked"


def test_an_address_needs_a_label(clinic: Clinic) -> None:
    with pytest.raises(FollowUpError) as refused:
        make_calendar_address(by=clinic.administrator, now=NOW, site=clinic.site, label=" ")
    assert (refused.value.code, refused.value.field) == ("missing", "label")


@pytest.mark.parametrize(
    ("part", "field"), [({"session_kind": "ward"}, "session_kind"), ({"surgeon": "staff:1"}, "surgeon")]
)
def test_an_address_shows_a_part_that_there_is(clinic: Clinic, part: dict[str, str], field: str) -> None:
    with pytest.raises(FollowUpError) as refused:
        make_calendar_address(by=clinic.administrator, now=NOW, site=clinic.site, label="Door", **part)
    assert refused.value.field == field
    make_operation(site=clinic.site, surgeon=clinic.surgeon)
    part = {"session_kind": "theatre", "surgeon": f"staff:{clinic.surgeon.pk}"}
    make_calendar_address(by=clinic.administrator, now=NOW, site=clinic.site, label="Door", **part)
    assert part.items() <= last_change().after.items()


@pytest.mark.parametrize("role", ["coordinator", "surgeon"])
def test_only_an_administrator_gives_a_calendar_away(clinic: Clinic, role: str) -> None:
    by = getattr(clinic, role)
    with pytest.raises(NotAllowed):
        make_calendar_address(by=by, now=NOW, site=clinic.site, label="Door")
    with pytest.raises(NotAllowed):
        revoke_calendar_address(by=by, now=NOW, address=given_address(site=clinic.site))
