"""Text messages over HTTP: taken once by its key, refused for good, or tried later."""

from __future__ import annotations

import pytest
from django.conf import LazySettings

from followup.interchange.messages.gateway import GatewayAway, TextRefused, send_text
from tests.gateway import TextGateway
from tests.servers import LOOPBACK, free_port


def send(**fields: str) -> None:
    send_text(**{"key": "k1", "to": "+20255501", "text": "Ihr Termin – موعدك"} | fields)


def test_a_message_arrives_with_its_key_and_the_token(gateway: TextGateway) -> None:
    send()
    assert gateway.texts == {"k1": ("+20255501", "Ihr Termin – موعدك")}
    (headers,) = gateway.requests
    assert headers["Idempotency-Key"] == "k1"
    assert headers["Authorization"] == "Bearer gateway-token"
    assert headers["Content-Type"] == "application/json"


def test_a_repeat_is_taken_and_sent_once(gateway: TextGateway) -> None:
    send()
    send()
    assert (len(gateway.requests), len(gateway.texts)) == (2, 1)


@pytest.mark.parametrize("status", [400, 409, 410, 413, 415, 422, 451])
def test_an_answer_about_the_message_is_final(gateway: TextGateway, status: int) -> None:
    gateway.answer = status
    with pytest.raises(TextRefused, match=f"answered {status}"):
        send()


@pytest.mark.parametrize("status", [301, 307, 401, 403, 404, 405, 408, 425, 429, 500, 502, 503, 504])
def test_an_answer_about_anything_else_means_later(gateway: TextGateway, status: int) -> None:
    gateway.answer = status
    with pytest.raises(GatewayAway, match=f"answered {status}"):
        send()
    assert len(gateway.requests) == 1


def test_a_wrong_token_loses_no_message(gateway: TextGateway, settings: LazySettings) -> None:
    settings.TEXT_GATEWAY_TOKEN = "old"
    with pytest.raises(GatewayAway, match="401"):
        send()


def test_a_number_that_is_none_is_refused_for_good(gateway: TextGateway) -> None:
    with pytest.raises(TextRefused, match="422"):
        send(to="nobody")


def test_a_gateway_that_hangs_is_given_up_after_the_time_out(
    gateway: TextGateway, settings: LazySettings
) -> None:
    settings.TEXT_GATEWAY_TIMEOUT = 0.2
    gateway.hang_seconds = 0.6
    with pytest.raises(GatewayAway, match="timed out"):
        send()


def test_a_gateway_that_is_down_means_later(settings: LazySettings) -> None:
    settings.TEXT_GATEWAY_URL = f"http://{LOOPBACK}:{free_port()}/texts"
    with pytest.raises(GatewayAway, match="refused"):
        send()


def test_without_a_gateway_nothing_is_sent_anywhere(settings: LazySettings) -> None:
    settings.TEXT_GATEWAY_URL = ""
    with pytest.raises(GatewayAway, match="No TEXT_GATEWAY_URL"):
        send()
