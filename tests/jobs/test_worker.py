"""A real worker and a real beat on a real Redis: the tick arrives, the digest is sent, once."""

from __future__ import annotations

import signal
from datetime import timedelta
from pathlib import Path

import pytest
import time_machine

from followup.interchange.messages.send import message_id
from followup.jobs import clock, night
from followup.models import NightRun, OutboxMessage
from tests.builders import make_message, make_site
from tests.processes import machine_with_nothing_set, running
from tests.servers import MailServer, wait_until

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("pathways")]

WORKER = ["-m", "celery", "-A", "config", "worker", "--concurrency", "1", "--loglevel", "INFO"]
BEAT = ["-m", "celery", "-A", "config", "beat", "--loglevel", "INFO"]


def machine(folder: Path, redis_url: str, database_url: str, mail_server: MailServer) -> dict[str, str]:
    addresses = {"REDIS_URL": redis_url, "DATABASE_URL": database_url, "EMAIL_URL": mail_server.url}
    return machine_with_nothing_set(folder, TICK_SECONDS="1", **addresses)


def test_beat_ticks_and_the_worker_sends_each_digest_once(
    tmp_path: Path, redis_url: str, database_url: str, mail_server: MailServer
) -> None:
    make_site(digest_email="list@clinic.example", digest_hour=0)
    own = machine(tmp_path, redis_url, database_url, mail_server)
    with running(WORKER, own, tmp_path / "worker.log") as worker, running(BEAT, own, tmp_path / "beat.log"):
        wait_until(lambda: bool(mail_server.received), seconds=180, what="the digest arrives")
        seen = NightRun.objects.get(job="tick").finished_at
        wait_until(
            lambda: NightRun.objects.get(job="tick").finished_at > seen, seconds=120, what="another tick"
        )
        worker.send_signal(signal.SIGTERM)
        assert worker.wait(timeout=120) == 0
    assert [str(message["To"]) for message in mail_server.received] == ["list@clinic.example"]
    assert OutboxMessage.objects.get().state == "sent"


def test_a_worker_killed_between_claim_and_sending_leaves_the_message_to_the_next_run(
    tmp_path: Path, redis_url: str, database_url: str, mail_server: MailServer
) -> None:
    message = make_message(kind="note", due_at=clock.now())
    mail_server.hang_seconds = 60
    own = machine(tmp_path, redis_url, database_url, mail_server)
    with running(WORKER, own, tmp_path / "worker.log") as worker, running(BEAT, own, tmp_path / "beat.log"):
        wait_until(lambda: mail_server.taking, seconds=180, what="the worker talks to the mail server")
        worker.kill()
    message.refresh_from_db()
    assert (message.state, message.attempts, mail_server.received) == ("sending", 1, [])
    mail_server.hang_seconds = 0
    assert night.send_due_messages() == 0
    with time_machine.travel(clock.now() + timedelta(minutes=11)):
        assert [night.send_due_messages(), night.send_due_messages()] == [1, 0]
    assert [received["Message-ID"] for received in mail_server.received] == [message_id(message)]
