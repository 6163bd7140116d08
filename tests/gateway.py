"""A text-message gateway on this machine, as README.md describes the interface: an example to build by."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from tests.servers import LOOPBACK


class TextGateway(ThreadingHTTPServer):
    """Keeps each message once by its key.

    texts: (to, text) by key, in order. requests: headers of each call. token: the one it knows. answer: the
    status to give instead of taking the message. hang_seconds: pause before it answers.
    """

    daemon_threads = True

    def __init__(self) -> None:
        super().__init__((LOOPBACK, 0), _Handler)
        self.texts: dict[str, tuple[str, str]] = {}
        self.requests: list[dict[str, str]] = []
        self.token = "gateway-token"
        self.answer = 0
        self.hang_seconds = 0.0

    @property
    def url(self) -> str:
        return f"http://{LOOPBACK}:{self.server_address[1]}/texts"

    def status_for(self, authorization: str | None, path: str, body: bytes) -> int:
        """Takes the message if it can; the status to answer with."""
        if self.answer:
            return self.answer
        if authorization != f"Bearer {self.token}":
            return 401
        if path != "/texts":
            return 404
        try:
            message = json.loads(body)
            key, to, text = message["key"], message["to"], message["text"]
        except (ValueError, KeyError):
            return 400
        if not to.lstrip("+").isdecimal():
            return 422
        self.texts.setdefault(key, (to, text))
        return 202


class _Handler(BaseHTTPRequestHandler):
    server: TextGateway

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        self.server.requests.append(dict(self.headers))
        time.sleep(self.server.hang_seconds)
        status = self.server.status_for(self.headers["Authorization"], self.path, body)
        self.send_response(status)
        if 300 <= status < 400:
            self.send_header("Location", self.server.url)
        self.end_headers()

    def log_message(self, format: str, *args: object) -> None:
        """Says nothing: tests look at what was taken."""


@contextmanager
def text_gateway() -> Iterator[TextGateway]:
    """Serves on a free port until the block ends."""
    with TextGateway() as gateway:
        thread = threading.Thread(target=gateway.serve_forever, kwargs={"poll_interval": 0.05})
        thread.start()
        try:
            yield gateway
        finally:
            gateway.shutdown()
            thread.join()
