"""Breaks everything around the outbox and counts what arrives.

Run with `python -m tests.benchmarks.outbox_faults [COUNT]`.

A real PostgreSQL, Redis, SMTP server, Celery workers and beats; COUNT messages in the last row, by default
10,000, and fewer in the others. The table says, for each fault, how many messages were to arrive, how many
were lost, how many went to somebody who should not get them, and how many arrived twice under the same
Message-ID, which is what sending at least once means.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import astuple, dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from django.db import connections

from tests import servers

if TYPE_CHECKING:
    from tests.benchmarks.outbox_people import Outcome

WORKER = ["-m", "celery", "-A", "config", "worker", "--concurrency", "1", "--loglevel", "INFO"]
BEAT = ["-m", "celery", "-A", "config", "beat", "--loglevel", "INFO"]
MANY = 10_000
SOME = 200
COLUMNS = [
    "fault",
    "messages",
    "lost",
    "to the wrong",
    "twice, same Message-ID",
    "unknown Message-ID",
    "returned",
    "seconds",
]
"""After the first, the fields of an outcome in their order."""
HELD_LONG = timedelta(seconds=30)


@dataclass
class Bench:
    """The servers of one run. `redis` can be stopped, emptied and started again on its port."""

    folder: Path
    database: str
    mail: servers.MailServer
    redis_port: int = field(default_factory=servers.free_port)
    _redis: ExitStack = field(default_factory=ExitStack)

    def start_redis(self) -> None:
        """An empty one: every start has a folder of its own."""
        folder = Path(tempfile.mkdtemp(dir=self.folder))
        self._redis.enter_context(servers.redis_server(folder, self.redis_port))

    def stop_redis(self) -> None:
        self._redis.close()

    @contextmanager
    def running(self, *programs: list[str]) -> Iterator[None]:
        """These programs, each with settings and files of its own."""
        from tests.processes import running

        with ExitStack() as stack:
            for number, program in enumerate(programs):
                folder = Path(tempfile.mkdtemp(dir=self.folder))
                own = self.settings_in(folder)
                named = [*program, "-n", f"worker{number}@localhost"] if "worker" in program else program
                stack.enter_context(running(named, own, folder / "log"))
            yield

    def settings_in(self, folder: Path) -> dict[str, str]:
        from tests.processes import machine_with_nothing_set

        return machine_with_nothing_set(
            folder,
            DATABASE_URL=self.database,
            REDIS_URL=f"redis://{servers.LOOPBACK}:{self.redis_port}/0",
            EMAIL_URL=self.mail.url,
            EMAIL_TIMEOUT="2",
            TICK_SECONDS="1",
        )


def waiting() -> int:
    """Messages that are due or being sent."""
    from followup.models import OutboxMessage

    return OutboxMessage.objects.filter(state__in=["due", "sending"]).count()


def let_time_pass() -> None:
    """The pauses of what was put off are over, and the leases of senders that died have run out.

    No living sender needs half as long as HELD_LONG for one message.
    """
    from followup.jobs import clock
    from followup.models import OutboxMessage
    from followup.services.outbox import LEASE

    now = clock.now()
    OutboxMessage.objects.filter(state="due", due_at__gt=now).update(due_at=now)
    claimed_before = now + LEASE - HELD_LONG
    OutboxMessage.objects.filter(state="sending", lease_until__lt=claimed_before).update(lease_until=now)


def drain(*, seconds: float = 900) -> None:
    """Waits until nothing is left to send, cutting the pauses short."""

    def nothing_left() -> bool:
        let_time_pass()
        time.sleep(0.3)
        return waiting() == 0

    servers.wait_until(nothing_left, seconds=seconds, what="the outbox is empty")


def arrives(bench: Bench, count: int) -> None:
    servers.wait_until(
        lambda: len(bench.mail.received) >= count, seconds=300, what=f"{count} messages arrive"
    )


# Faults: each is let loose while the messages go out, and ends when the outbox is empty.


def worker_killed_at_every_step(bench: Bench) -> None:
    from tests.benchmarks.killing import STEPS
    from tests.processes import running

    for number, step in enumerate(STEPS):
        folder = Path(tempfile.mkdtemp(dir=bench.folder))
        own = bench.settings_in(folder)
        killed = ["-m", "tests.benchmarks.killed_worker", step, "3"]
        with bench.running(BEAT), running(killed, own, folder / "log") as worker:
            servers.wait_until(lambda: worker.poll() is not None, seconds=300, what=f"{step}: killed")
        assert worker.returncode == -9, (number, step, (folder / "log").read_text())
    with bench.running(WORKER, BEAT):
        drain()


def redis_stopped_and_emptied(bench: Bench) -> None:
    bench.mail.hang_seconds = 0.05
    with bench.running(WORKER, BEAT):
        for arrived in (10, 40):
            arrives(bench, arrived)
            bench.stop_redis()
            time.sleep(3)
            bench.start_redis()
        bench.mail.hang_seconds = 0
        drain()


def mail_server_refusing(bench: Bench) -> None:
    bench.mail.refuse = {"refused.example"}
    bench.mail.busy = True
    with bench.running(WORKER, BEAT):
        time.sleep(8)
        bench.mail.busy = False
        drain()


def mail_server_hanging(bench: Bench) -> None:
    bench.mail.hang_seconds = 5
    with bench.running(WORKER, BEAT):
        servers.wait_until(lambda: bench.mail.taking, seconds=300, what="the server hangs")
        time.sleep(8)
        bench.mail.hang_seconds = 0
        drain()


def mail_server_dying_in_the_middle(bench: Bench) -> None:
    bench.mail.drop_before, bench.mail.drop_after = 5, 5
    with bench.running(WORKER, BEAT):
        drain()


def two_workers_and_two_beats(bench: Bench) -> None:
    with bench.running(WORKER, WORKER, BEAT, BEAT):
        drain(seconds=3600)


@dataclass(frozen=True)
class Fault:
    title: str
    count: int
    work: Callable[[Bench], None]
    refused: int = 0
    """One in so many addresses is refused for good."""


FAULTS = [
    Fault("Worker killed (-9) at each of ten steps of sending", SOME, worker_killed_at_every_step),
    Fault("Redis stopped and emptied, twice", SOME, redis_stopped_and_emptied),
    Fault("SMTP refusing: all for a while, some for good", SOME, mail_server_refusing, refused=10),
    Fault("SMTP hanging past the time-out", SOME, mail_server_hanging),
    Fault("SMTP dying in the middle of a message", SOME, mail_server_dying_in_the_middle),
    Fault("Two workers and two beats", SOME * 5, two_workers_and_two_beats),
]


def main(many: int) -> int:
    with (
        tempfile.TemporaryDirectory() as folder,
        servers.postgres() as database,
        servers.mail_server() as mail,
    ):
        os.environ.update(
            DATABASE_URL=database,
            EMAIL_URL=mail.url,
            FOLLOWUP_DATA_DIR=folder,
            DJANGO_SETTINGS_MODULE="config.settings",
        )
        _prepare_database()
        bench = Bench(Path(folder), database, mail)
        bench.start_redis()
        try:
            print(f"| {' | '.join(COLUMNS)} |")
            print(f"|---|{'---:|' * (len(COLUMNS) - 1)}")
            faults = [
                *FAULTS,
                Fault(f"{many:,} messages, two workers and two beats", many, two_workers_and_two_beats),
            ]
            right = [_try(fault, bench) for fault in faults]
            right.append(_try_clock_changes(mail))
        finally:
            bench.stop_redis()
            connections.close_all()
    return 0 if all(right) else 1


def _prepare_database() -> None:
    import django
    from django.conf import settings
    from django.core.management import call_command

    django.setup()

    from followup.services.pathway import load_pathways

    call_command("migrate", verbosity=0)
    load_pathways(folder=settings.BASE_DIR / "fixtures" / "pathways")


def _try(fault: Fault, bench: Bench) -> bool:
    from followup.jobs import clock
    from tests.benchmarks.outbox_people import count_outcome, write_reminders

    bench.mail.reset()
    written = write_reminders(count=fault.count, now=clock.now(), refused=fault.refused)
    began = time.monotonic()
    fault.work(bench)
    time.sleep(1)
    outcome = count_outcome(written, bench.mail)
    _print_row(fault.title, outcome, time.monotonic() - began)
    return outcome.is_right


def _try_clock_changes(mail: servers.MailServer) -> bool:
    from tests.benchmarks.outbox_clock import CLOCK_CHANGES, over_clock_change

    right = []
    for title, first, last in CLOCK_CHANGES:
        mail.reset()
        began = time.monotonic()
        outcome = over_clock_change(mail, first=first, last=last, every_minutes=15)
        _print_row(title, outcome, time.monotonic() - began)
        right.append(outcome.is_right and outcome.duplicates == 0)
    return all(right)


def _print_row(title: str, outcome: Outcome, seconds: float) -> None:
    cells = [title, *(f"{number:,}" for number in astuple(outcome)), f"{seconds:.0f}"]
    print(f"| {' | '.join(cells)} |", flush=True)


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else MANY))
