"""One command serves the pages and does the night's work, and stops when told to."""

from __future__ import annotations

import re
import signal
import sqlite3
import subprocess
import sys
import urllib.request
from contextlib import closing
from pathlib import Path

import pytest
from django.conf import settings

from followup.management.commands.serve import address_in_messages
from tests.processes import machine_with_nothing_set, running
from tests.servers import wait_until

SERVE = ["manage.py", "serve", "--port", "0"]


def address_in(log: Path) -> str:
    found = re.search(r"http://[\d.]+:\d+/", log.read_text())
    return found.group() if found else ""


def ask(folder: Path, question: str) -> int:
    with closing(sqlite3.connect(folder / "followup.sqlite3")) as database:
        return int(database.execute(question).fetchone()[0])


def open_a_site(folder: Path) -> None:
    own = machine_with_nothing_set(folder)
    code = "from followup.models import Site; Site.objects.create(name='Harbour Eye Clinic')"
    subprocess.run(
        [sys.executable, "manage.py", "shell", "-c", code], env=own, check=True, cwd=settings.BASE_DIR
    )


@pytest.mark.parametrize("stop", [signal.SIGTERM, signal.SIGINT], ids=["SIGTERM", "SIGINT"])
def test_an_empty_folder_is_enough_to_serve_and_a_signal_stops_it(
    tmp_path: Path, stop: signal.Signals
) -> None:
    log = tmp_path / "serve.log"
    with running(SERVE, machine_with_nothing_set(tmp_path, TICK_SECONDS="1"), log) as process:
        wait_until(lambda: address_in(log) != "", seconds=180, what="the address is printed")
        with urllib.request.urlopen(address_in(log), timeout=20) as page:
            assert (page.status, page.url) == (200, f"{address_in(log)}sign-in/?next=/")
        assert ask(tmp_path, "SELECT count(*) FROM followup_pathwayversion WHERE active") > 0
        open_a_site(tmp_path)
        tick = "SELECT count(*) FROM followup_nightrun WHERE job = 'tick'"
        wait_until(lambda: ask(tmp_path, tick) == 1, seconds=120, what="the night's work is done too")
        process.send_signal(stop)
        assert process.wait(timeout=120) == 0
    assert log.read_text().splitlines()[-1] == "Stopped."


def test_settings_that_do_not_go_together_are_not_served(tmp_path: Path) -> None:
    own = machine_with_nothing_set(tmp_path, FOLLOWUP_PRODUCTION="1")
    log = tmp_path / "serve.log"
    with running(SERVE, own, log) as process:
        assert process.wait(timeout=180) == 1
    assert "Set SECRET_KEY to 50 random characters or more" in log.read_text()
    assert not (tmp_path / "followup.sqlite3").exists()


@pytest.mark.parametrize(
    ("environment", "address"),
    [
        ({}, "http://127.0.0.1:8123"),
        ({"BASE_URL": ""}, "http://127.0.0.1:8123"),
        ({"BASE_URL": "https://follow-up.clinic.example"}, "https://follow-up.clinic.example"),
    ],
)
def test_what_is_sent_leads_to_where_it_is_served(environment: dict[str, str], address: str) -> None:
    assert address_in_messages(environment, "http://127.0.0.1:8123") == address
