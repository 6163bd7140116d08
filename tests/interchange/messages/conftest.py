from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.conf import LazySettings

from tests.gateway import TextGateway, text_gateway


@pytest.fixture
def gateway(settings: LazySettings) -> Iterator[TextGateway]:
    """A fresh text gateway, and the installation set to use it."""
    with text_gateway() as running:
        settings.TEXT_GATEWAY_URL = running.url
        settings.TEXT_GATEWAY_TOKEN = running.token
        settings.TEXT_GATEWAY_TIMEOUT = 5
        yield running
