"""A year of a busy service as a calendar, beside the library alone producing the same bytes.

Run with `python -m tests.benchmarks.calendar [appointments]`, by default 20,000 in 40 sessions a week for a
year. *The whole address* is everything from reading the database to the ETag; *the library alone* is given
the rows as they were read. Each is the best of three. Leaves with 1 if a byte differs or the ratio is
above 1.5.
"""

from __future__ import annotations

import os
import sys
import time as clock
from collections.abc import Callable, Iterator
from datetime import time, timedelta
from tempfile import TemporaryDirectory
from typing import Any

APPOINTMENTS = 20_000
WEEKS = 52
SESSIONS_A_WEEK = 40
LIMIT = 1.5


def set_up(folder: str) -> None:
    """A database of its own: nothing of the installation is touched."""
    os.environ.update(
        DJANGO_SETTINGS_MODULE="config.settings",
        DATABASE_URL=f"sqlite:///{folder}/calendar.sqlite3",
        FOLLOWUP_DATA_DIR=folder,
        ALLOWED_HOSTS="testserver",
    )
    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)


def fill(appointments: int) -> Any:
    """The address of a site with so many appointments, in a zone with two clock changes a year."""
    from followup.models import Appointment, Session
    from followup.queries.access import hash_of_token
    from tests.builders import TODAY, make_calendar_address, make_patient, make_site

    site = make_site(name="Harbour Eye Clinic, second floor", time_zone="Europe/Berlin", phone="555 0100")
    patients = [make_patient(site=site) for _ in range(200)]
    sessions = Session.objects.bulk_create(
        Session(
            site=site,
            kind="theatre" if number % 4 == 3 else "clinic",
            title=f"List {number}",
            day=TODAY + timedelta(weeks=week, days=number % 5),
            starts=time(8 + number // 5 % 8),
            ends=time(17),
            places=24,
        )
        for week in range(WEEKS)
        for number in range(SESSIONS_A_WEEK)
    )
    rows = _places(site.time_zone, sessions, patients, appointments)
    Appointment.objects.bulk_create(rows, batch_size=2_000)
    return make_calendar_address(site=site, token_hash=hash_of_token("secret"))


def _places(zone: str, sessions: list[Any], patients: list[Any], appointments: int) -> Iterator[Any]:
    from followup.domain.dates.zones import localise
    from followup.models import Appointment
    from tests.builders import NOW

    for number in range(appointments):
        turn, which = divmod(number, len(sessions))
        session = sessions[which]
        at = time(session.starts.hour, turn % 12 * 5)
        yield Appointment(
            patient=patients[turn % len(patients)],
            session=session,
            lane="review",
            day=session.day,
            local_time=at,
            starts_at=localise(session.day, at, zone),
            sequence=number % 3,
            changed_at=NOW - timedelta(minutes=number),
            state="cancelled" if number % 20 == 0 else "booked",
            cancelled_by="clinic" if number % 20 == 0 else "",
        )


def best(work: Callable[[], object]) -> float:
    took = []
    for _ in range(3):
        started = clock.perf_counter()
        work()
        took.append(clock.perf_counter() - started)
    return min(took)


def measure(appointments: int) -> int:
    import time_machine
    from django.test import Client

    from followup.queries.calendar import calendar_of
    from tests.builders import NOW, TODAY
    from tests.interchange.feeds.by_library import calendar_by_library

    address = fill(appointments)
    rows = calendar_of(address, NOW, TODAY)
    with time_machine.travel(NOW):
        answer = Client().get("/calendar/secret.ics")
        known = {"If-None-Match": answer.headers["ETag"]}
        whole = best(lambda: Client().get("/calendar/secret.ics").content)
        unchanged = best(lambda: Client().get("/calendar/secret.ics", headers=known))
    alone = best(lambda: calendar_by_library(address.site, rows))
    same = answer.content == calendar_by_library(address.site, rows)
    print(f"{len(rows):,} appointments, {len(answer.content):,} bytes, the same: {same}")
    for name, took in (("library alone", alone), ("the whole address", whole), ("unchanged, 304", unchanged)):
        print(f"{name:>20}{took:>9.2f} s{took / alone:>8.2f} times")
    return 0 if same and whole <= LIMIT * alone else 1


def main(appointments: int) -> int:
    with TemporaryDirectory() as folder:
        set_up(folder)
        return measure(appointments)


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else APPOINTMENTS))
