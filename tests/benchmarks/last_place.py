"""Many people try for the last places of a session at once, again and again, on SQLite and on PostgreSQL.

Run with `python -m tests.benchmarks.last_place [tries]`, by default 3,000 on each. In each round a session is
opened with fewer places than there are people, and all try at one moment, every one on a connection of their
own; then those who hold a place move together or give it back while others try again. After every round the
places held are counted against the session, and each booking that was told against its row. Leaves with 1 if
a session was overbooked, a booking was lost, or a place stayed empty that somebody wanted.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time as clock
from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Barrier

TRIES = 3_000
PEOPLE = 8
PLACES = 3


def main(tries: int) -> int:
    """Runs itself once on each database, each in a process of its own."""
    from tests import servers

    print(f"{'database':>12}{'tries':>8}{'booked':>8}{'refused':>9}{'moved':>7}{'back':>6}{'seconds':>9}")
    with tempfile.TemporaryDirectory() as folder:
        faults = run_on(f"sqlite:///{Path(folder) / 'places.sqlite3'}", tries)
    with servers.postgres() as address:
        faults += run_on(address, tries)
    return 1 if faults else 0


def run_on(address: str, tries: int) -> int:
    environment = {**os.environ, "DATABASE_URL": address}
    command = [sys.executable, "-m", "tests.benchmarks.last_place", str(tries), "here"]
    return subprocess.run(command, env=environment).returncode


def run_here(tries: int) -> int:
    """All tries on the database that the environment names, which is empty."""
    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    django.setup()
    from django.core.management import call_command
    from django.db import connection

    call_command("migrate", verbosity=0)
    started = clock.monotonic()
    told: Counter[str] = Counter()
    faults: list[str] = []
    with ThreadPoolExecutor(PEOPLE) as threads:
        rounds = Rounds(threads)
        while told["tries"] < tries:
            told += rounds.play(faults)
    counts = "".join(
        f"{told[name]:>{width}}"
        for name, width in (("tries", 8), ("booked", 8), ("refused", 9), ("moved", 7), ("back", 6))
    )
    print(f"{connection.vendor:>12}{counts}{clock.monotonic() - started:>9.1f}", flush=True)
    for fault in faults[:10]:
        print(f"Fault: {fault}")
    return 1 if faults else 0


class Rounds:
    """The people and the threads they try in; needs Django set up."""

    def __init__(self, threads: ThreadPoolExecutor) -> None:
        from tests.builders import make_patient, make_site

        self.threads = threads
        self.site = make_site()
        self.people = [make_patient(site=self.site) for _ in range(PEOPLE)]

    def play(self, faults: list[str]) -> Counter[str]:
        """One round: all book at once; then each holder gives back or moves while the others try again."""
        from tests.builders import make_session

        session = make_session(site=self.site, places=PLACES)
        other = make_session(site=self.site, places=PLACES)
        first = self._at_once([self._booking(number, session) for number in range(PEOPLE)])
        self._check(session, first.count("booked"), min(PLACES, PEOPLE), faults)
        holders = [number for number, said in enumerate(first) if said == "booked"]
        acts = [
            self._booking(number, session)
            if number not in holders
            else (self._moving if place % 2 else self._giving_back)(number, session, other)
            for place, number in enumerate([*holders, *(n for n in range(PEOPLE) if n not in holders)])
        ]
        second = self._at_once(acts)
        left = second.count("moved") + second.count("back")
        self._check(session, len(holders) - left + second.count("booked"), None, faults)
        self._check(other, second.count("moved"), None, faults)
        return Counter(["tries"] * 2 * PEOPLE + first + second)

    def close(self) -> None:
        """Gives the connection of every thread back."""
        from django.db import connection

        def close() -> str:
            connection.close()
            return "closed"

        self._at_once([close] * PEOPLE)

    def _check(self, session: object, told: int, wanted: int | None, faults: list[str]) -> None:
        from followup.models import Appointment

        places = Appointment.objects.filter(session=session).exclude(state="cancelled")
        held, times = places.count(), places.values("local_time").distinct().count()
        if held > PLACES or times != held:
            faults.append(f"{session}: {held} places held at {times} times, of {PLACES}")
        if held != told or (wanted is not None and held != wanted):
            faults.append(f"{session}: {told} were told, {held} are held, {wanted} wanted")

    def _at_once(self, acts: Sequence[Callable[[], str]]) -> list[str]:
        ready = Barrier(len(acts))
        return list(self.threads.map(lambda act: _when_all_are_ready(ready, act), acts))

    def _booking(self, number: int, session: object) -> Callable[[], str]:
        from followup.models import Session
        from followup.services.booking import book_appointment
        from tests.builders import NOW, TODAY

        assert isinstance(session, Session)

        def act() -> str:
            book_appointment(
                by=None,
                now=NOW,
                today=TODAY,
                patient=self.people[number],
                session=session,
                lane="review",
            )
            return "booked"

        return act

    def _moving(self, number: int, session: object, other: object) -> Callable[[], str]:
        from followup.models import Appointment, Session
        from followup.services.booking import move_appointment
        from tests.builders import NOW, TODAY

        assert isinstance(other, Session)

        def act() -> str:
            place = Appointment.objects.get(patient=self.people[number], session=session, state="booked")
            move_appointment(by=None, now=NOW, today=TODAY, appointment=place, session=other)
            return "moved"

        return act

    def _giving_back(self, number: int, session: object, other: object) -> Callable[[], str]:
        from followup.models import Appointment
        from followup.services.booking import cancel_appointment
        from tests.builders import NOW

        def act() -> str:
            place = Appointment.objects.get(patient=self.people[number], session=session, state="booked")
            cancel_appointment(by=None, now=NOW, appointment=place, cancelled_by="patient", reason="ill")
            return "back"

        return act


def _when_all_are_ready(ready: Barrier, act: Callable[[], str]) -> str:
    from followup.domain.errors import Refused

    ready.wait(timeout=60)
    try:
        return act()
    except Refused:
        return "refused"


if __name__ == "__main__":
    number = int(float(sys.argv[1])) if len(sys.argv) > 1 else TRIES
    sys.exit(run_here(number) if sys.argv[2:] == ["here"] else main(number))
