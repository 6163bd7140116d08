"""Recall in numbers: the page, its drawing and its sheet tell the same months."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client

from followup.models import Site, Staff
from tests.builders import days, make_appointment, make_staff
from tests.web.stories import gas_eye, oil_eye, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_nine")]


@pytest.fixture
def client(harbour: Site, enter: Callable[[Staff], Client]) -> Client:
    return enter(make_staff(role="auditor", site=harbour))


@pytest.mark.parametrize("is_new", [True, False], ids=["a new clinic", "a clinic with people"])
def test_the_months_are_drawn_and_written_from_the_same_numbers(
    harbour: Site, client: Client, is_new: bool
) -> None:
    if not is_new:
        oil_eye(harbour, days(-150))
        make_appointment(patient=gas_eye(harbour, days(-70)).patient, day=days(-1), state="noshow")
    page = text_of(client.get("/recall/measures/"))
    assert '<img src="/recall/measures.svg"' in page
    assert "The tables below hold the same numbers." in page
    drawing = client.get("/recall/measures.svg")
    assert drawing["Content-Type"] == "image/svg+xml"
    assert drawing.content.startswith(b"<?xml")
    assert drawing.content == client.get("/recall/measures.svg").content
    sheet = client.get("/recall/measures.csv").content.decode("utf-8-sig").splitlines()
    assert sheet[0] == "Overdue at the month's end"
    assert sheet[2].startswith("2026-03-02,0,none" if is_new else "2026-03-02,2,")
