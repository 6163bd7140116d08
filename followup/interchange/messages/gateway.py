"""Hands text messages to the clinic's gateway over HTTP. README.md describes the interface for its makers.

One POST a message, with JSON {"key", "to", "text"}: 2xx means taken, now or before; an answer about the
message itself (400, 409, 410, 413, 415, 422, 451) means never; anything else, or no answer, means later.
"""

from __future__ import annotations

import json
from http.client import HTTPException, HTTPMessage
from typing import IO
from urllib.error import HTTPError
from urllib.request import HTTPRedirectHandler, Request, build_opener

from django.conf import settings

FINAL = frozenset({400, 409, 410, 413, 415, 422, 451})
"""The other 4xx speak of the address, the token or the pace (RFC 9110, section 15.5; RFC 6585)."""

_MOST_SHOWN = 200


class TextRefused(Exception):
    """The gateway will never take this message."""


class GatewayAway(Exception):
    """The gateway cannot take messages now: down, busy, or our token is wrong."""


class _NoRedirects(HTTPRedirectHandler):
    """A redirected POST would become a GET, and the token would go to another address."""

    def redirect_request(
        self, req: Request, fp: IO[bytes], code: int, msg: str, headers: HTTPMessage, newurl: str
    ) -> None:
        return None


def send_text(*, key: str, to: str, text: str) -> None:
    """Hand over one message. `key` is the same for every attempt, so that a gateway can drop a repeat.

    Raises TextRefused or GatewayAway.
    """
    if not settings.TEXT_GATEWAY_URL:
        raise GatewayAway("No TEXT_GATEWAY_URL is set.")
    try:
        with build_opener(_NoRedirects).open(_request(key, to, text), timeout=settings.TEXT_GATEWAY_TIMEOUT):
            return
    except HTTPError as answer:
        with answer:
            said = answer.read(_MOST_SHOWN).decode(errors="replace").strip()
        problem = f"The gateway answered {answer.code}. {said}".strip()
        raise (TextRefused if answer.code in FINAL else GatewayAway)(problem) from answer
    except (OSError, HTTPException) as fault:
        raise GatewayAway(f"{type(fault).__name__}: {fault}") from fault


def _request(key: str, to: str, text: str) -> Request:
    headers = {
        "Content-Type": "application/json",
        "Accept": "application/json",
        "Idempotency-Key": key,
        "Authorization": f"Bearer {settings.TEXT_GATEWAY_TOKEN}",
    }
    body = json.dumps({"key": key, "to": to, "text": text}).encode()
    return Request(settings.TEXT_GATEWAY_URL, data=body, headers=headers, method="POST")
