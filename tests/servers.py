"""Real servers on this machine for the tests: PostgreSQL, Redis and SMTP. Nothing is downloaded.

Each is a context manager that starts the server on a free port of the loopback address, yields what a test
needs to reach it, and stops it.
"""

from __future__ import annotations

import asyncio
import os
import pwd
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path

import psycopg
import redis
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session

LOOPBACK = "127.0.0.1"


def free_port() -> int:
    """A port that nobody listens on at the moment."""
    with socket.socket() as probe:
        probe.bind((LOOPBACK, 0))
        return int(probe.getsockname()[1])


def wait_until(ready: Callable[[], bool], *, seconds: float, what: str) -> None:
    """Return as soon as `ready()` is true; TimeoutError naming `what` if it never is."""
    deadline = time.monotonic() + seconds
    while not ready():
        if time.monotonic() > deadline:
            raise TimeoutError(f"{what}: not within {seconds} seconds.")
        time.sleep(0.05)


@contextmanager
def postgres() -> Iterator[str]:
    """The address of an empty PostgreSQL: FOLLOWUP_TEST_POSTGRES if set, else one started here."""
    given = os.environ.get("FOLLOWUP_TEST_POSTGRES")
    if given:
        yield given
        return
    tools = _postgres_tools()
    # PostgreSQL refuses to run as root, and nobody cannot enter root's temporary folders.
    folder = Path(tempfile.mkdtemp(prefix="followup-postgres-"))
    owner = _owner_for(folder)
    port = free_port()
    try:
        subprocess.run(
            [
                tools / "initdb",
                "-D",
                folder / "data",
                "-U",
                "followup",
                "-A",
                "trust",
                "-E",
                "UTF8",
                "--no-sync",
            ],
            check=True,
            stdout=subprocess.DEVNULL,
            cwd=folder,
            **owner,
        )
        # Autovacuum would note down as empty the tables that a test has filled but not committed, and
        # the planner would then walk through them row by row.
        settings = {"fsync": "off", "autovacuum": "off"}
        settings |= {"listen_addresses": LOOPBACK, "unix_socket_directories": str(folder)}
        options = [part for name, value in settings.items() for part in ("-c", f"{name}={value}")]
        with (folder / "log").open("w") as log:
            server = subprocess.Popen(
                [tools / "postgres", "-D", folder / "data", "-p", str(port), *options],
                stdout=log,
                stderr=log,
                cwd=folder,
                **owner,
            )
        address = f"postgres://followup@{LOOPBACK}:{port}/postgres"
        try:
            wait_until(lambda: _postgres_answers(address), seconds=30, what="PostgreSQL answers")
            yield address
        finally:
            # SIGINT ends sessions that are still open; SIGTERM would wait for them.
            server.send_signal(signal.SIGINT)
            server.wait(timeout=30)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _postgres_tools() -> Path:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/postgres"))
    if not found:
        raise FileNotFoundError(
            "No PostgreSQL server. Install the package postgresql, or name one in FOLLOWUP_TEST_POSTGRES."
        )
    return found[-1].parent


def _owner_for(folder: Path) -> dict[str, object]:
    if os.geteuid() != 0:
        return {}
    nobody = pwd.getpwnam("nobody")
    os.chown(folder, nobody.pw_uid, nobody.pw_gid)
    return {"user": nobody.pw_uid, "group": nobody.pw_gid, "extra_groups": []}


def _postgres_answers(address: str) -> bool:
    try:
        psycopg.connect(address, connect_timeout=2).close()
    except psycopg.OperationalError:
        return False
    return True


@contextmanager
def redis_server(folder: Path, port: int | None = None) -> Iterator[str]:
    """The address of a Redis that keeps its files in `folder`, on this port or a free one."""
    program = shutil.which("redis-server")
    if program is None:
        raise FileNotFoundError("No redis-server on the path. Install the package redis-server.")
    port = port or free_port()
    command = [program, "--bind", LOOPBACK, "--port", str(port), "--dir", str(folder), "--appendonly", "yes"]
    server = subprocess.Popen(
        [*command, "--maxmemory-policy", "noeviction"], stdout=subprocess.DEVNULL, cwd=folder
    )
    try:
        wait_until(lambda: _redis_answers(port), seconds=10, what="Redis answers")
        yield f"redis://{LOOPBACK}:{port}/0"
    finally:
        server.terminate()
        server.wait(timeout=10)


def _redis_answers(port: int) -> bool:
    with redis.Redis(host=LOOPBACK, port=port) as client:
        try:
            return bool(client.ping())
        except redis.ConnectionError:
            return False


class MailServer:
    """An SMTP server that keeps what it receives.

    received: the messages taken, in order. refuse: addresses and domains answered with 550. busy: while
    true, every recipient is put off with 451. hang_seconds: pause before a message is taken; taking: is there
    one now? drop_before, drop_after: for so many messages the line is cut instead of an answer, before or
    after taking.
    """

    def __init__(self) -> None:
        self.host = LOOPBACK
        self.port = free_port()
        self.reset()

    def reset(self) -> None:
        """As new, on the same port."""
        self.received: list[EmailMessage] = []
        self.refuse: set[str] = set()
        self.busy = False
        self.hang_seconds = 0.0
        self.taking = False
        self.drop_before = 0
        self.drop_after = 0

    async def handle_RCPT(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        if self.busy:
            return "451 4.3.2 Try again later"
        if self.refuse & {address, address.partition("@")[2]}:
            return "550 5.1.1 No such mailbox"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        self.taking = True
        await asyncio.sleep(self.hang_seconds)
        self.taking = False
        if self.drop_before > 0:
            self.drop_before -= 1
            return self._cut(server)
        content = envelope.content if isinstance(envelope.content, bytes) else b""
        message = message_from_bytes(content, policy=policy.default)
        assert isinstance(message, EmailMessage)
        self.received.append(message)
        if self.drop_after > 0:
            self.drop_after -= 1
            return self._cut(server)
        return "250 OK"

    @staticmethod
    def _cut(server: SMTP) -> str:
        assert server.transport is not None
        server.transport.abort()
        return "421 never heard"

    @property
    def url(self) -> str:
        """The address in the form of the EMAIL_URL setting."""
        return f"smtp://{self.host}:{self.port}"


@contextmanager
def mail_server() -> Iterator[MailServer]:
    server = MailServer()
    controller = Controller(server, hostname=server.host, port=server.port)
    controller.start()
    try:
        yield server
    finally:
        controller.stop()
