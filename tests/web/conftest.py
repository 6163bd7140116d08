"""Pages are asked for on a fixed day, by somebody signed in."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
import time_machine
from django.test import Client

from followup.models import PathwayVersion, Site, Staff
from tests.builders import NOW, make_site

BACKEND = "django.contrib.auth.backends.ModelBackend"


@pytest.fixture
def harbour(pathways: list[PathwayVersion]) -> Site:
    return make_site(name="Harbour Eye Clinic", phone="555 0100", urgent_phone="555 0199")


@pytest.fixture
def enter() -> Callable[[Staff], Client]:
    """A browser in which this person is signed in."""

    def sign_in(staff: Staff) -> Client:
        client = Client()
        client.force_login(staff, backend=BACKEND)
        return client

    return sign_in


@pytest.fixture
def at_nine() -> Iterator[None]:
    """It is nine o'clock on the day that the builders call TODAY."""
    with time_machine.travel(NOW, tick=False):
        yield
