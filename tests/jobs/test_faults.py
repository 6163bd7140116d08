"""Everything around the outbox breaks, on a small scale; tests/benchmarks/outbox_faults.py breaks more."""

from __future__ import annotations

import subprocess
import sys
from datetime import date, timedelta
from pathlib import Path

import pytest
import time_machine
from django.conf import LazySettings
from django.conf import settings as configured
from django.db import connection

from followup.jobs import clock, night
from followup.models import OutboxMessage
from tests.at_once import at_once
from tests.benchmarks.killing import STEPS
from tests.benchmarks.outbox_clock import CLOCK_CHANGES, over_clock_change
from tests.benchmarks.outbox_people import Outcome, Written, count_outcome, write_reminders
from tests.processes import machine_with_nothing_set
from tests.servers import MailServer

pytestmark = pytest.mark.django_db(transaction=True)


def written(count: int, *, refused: int = 0) -> Written:
    return write_reminders(count=count, now=clock.now(), refused=refused)


def send_the_rest() -> None:
    """Goes on sending, a later hour each time, until nothing waits."""
    for hour in range(1, 20):
        with time_machine.travel(clock.now() + timedelta(hours=hour)):
            night.send_due_messages()
        if not OutboxMessage.objects.filter(state__in=["due", "sending"]).exists():
            return


def right(messages: int, *, duplicates: int = 0, returned: int = 0) -> Outcome:
    return Outcome(
        messages=messages, lost=0, wrongly_sent=0, duplicates=duplicates, unknown=0, returned=returned
    )


def test_a_sender_killed_at_any_step_loses_nothing(
    tmp_path: Path, database_url: str, mail_server: MailServer
) -> None:
    told = written(50)
    own = machine_with_nothing_set(tmp_path, DATABASE_URL=database_url, EMAIL_URL=mail_server.url)
    connection.close()
    senders = [sys.executable, "-m", "tests.benchmarks.killed_senders"]
    assert subprocess.run(senders, env=own, cwd=configured.BASE_DIR, timeout=120).returncode == 0
    assert OutboxMessage.objects.filter(state="sending").count() == len(STEPS) - 1
    send_the_rest()
    # Killed after the server took it and before that was noted: answer read, about to note.
    # Whether it also took the text of the one killed in mid-sentence is the socket's to say.
    outcome = count_outcome(told, mail_server)
    assert outcome.duplicates in (2, 3)
    assert outcome == right(40, duplicates=outcome.duplicates)


def test_a_server_that_is_busy_and_refuses_some_for_good(mail_server: MailServer) -> None:
    told = written(20, refused=10)
    mail_server.refuse, mail_server.busy = {"refused.example"}, True
    night.send_due_messages()
    assert mail_server.received == []
    mail_server.busy = False
    send_the_rest()
    assert count_outcome(told, mail_server) == right(16, returned=2)


def test_a_server_that_hangs(mail_server: MailServer, settings: LazySettings) -> None:
    told = written(10)
    settings.EMAIL_TIMEOUT = 0.2
    mail_server.hang_seconds = 0.5
    night.send_due_messages()
    settings.EMAIL_TIMEOUT = 5
    mail_server.hang_seconds = 0
    send_the_rest()
    outcome = count_outcome(told, mail_server)
    assert outcome == right(8, duplicates=outcome.duplicates)
    assert outcome.duplicates <= 1


def test_a_server_that_dies_with_the_message_in_hand(mail_server: MailServer) -> None:
    told = written(10)
    mail_server.drop_before, mail_server.drop_after = 2, 2
    send_the_rest()
    assert count_outcome(told, mail_server) == right(8, duplicates=2)


@pytest.mark.usefixtures("pathways")
@pytest.mark.parametrize("change", CLOCK_CHANGES, ids=["forward", "back"])
def test_a_night_in_which_the_clocks_are_changed(
    mail_server: MailServer, change: tuple[str, date, date]
) -> None:
    _, first, last = change
    first, last = first + timedelta(days=1), last - timedelta(days=1)
    outcome = over_clock_change(mail_server, first=first, last=last, every_minutes=60)
    assert outcome == right(outcome.messages)
    assert outcome.messages == 2 * (1 + 2 * 5)


def test_eight_senders_at_once(mail_server: MailServer) -> None:
    told = written(40)
    at_once(night.send_due_messages)
    send_the_rest()
    assert count_outcome(told, mail_server) == right(32)
