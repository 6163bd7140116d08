"""The demo: one command, an invented clinic, a database of its own, and the same clinic the next time."""

from __future__ import annotations

import re
import signal
import sqlite3
import urllib.parse
import urllib.request
from contextlib import closing
from http.cookiejar import CookieJar
from pathlib import Path

import pytest
from environ import Env

from followup.management.commands.demo import environment_of
from tests.processes import machine_with_nothing_set, running
from tests.servers import wait_until

SIGN_IN = re.compile(r"^  (\w+) +(\S+) / (\S+)$", re.MULTILINE)


def served(folder: Path, log: Path) -> str:
    """What the demo printed, once it serves; the page behind its address and first sign-in was opened."""
    with running(["manage.py", "demo", "--port", "0"], machine_with_nothing_set(folder), log) as process:
        wait_until(lambda: "Serving on " in log.read_text(), seconds=300, what="the demo serves")
        text = log.read_text()
        address = re.findall(r"http://\S+", text)[-1]
        _, username, password = SIGN_IN.findall(text)[0]
        assert "Sign out" in home_of(address, username, password)
        process.send_signal(signal.SIGINT)
        assert process.wait(timeout=120) == 0
    return text


def home_of(address: str, username: str, password: str) -> str:
    jar = CookieJar()
    browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(jar))
    browser.open(f"{address}sign-in/", timeout=20).close()
    token = next(str(cookie.value) for cookie in jar if cookie.name == "csrftoken")
    fields = {"username": username, "password": password, "csrfmiddlewaretoken": token}
    with browser.open(f"{address}sign-in/", urllib.parse.urlencode(fields).encode(), timeout=120) as page:
        return str(page.read().decode())


def count(folder: Path, table: str) -> int:
    with closing(sqlite3.connect(folder / "demo" / "followup.sqlite3")) as database:
        return int(database.execute(f"SELECT count(*) FROM followup_{table}").fetchone()[0])


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("demo")


def test_the_demo_fills_its_own_database_once_and_serves_it_each_time(folder: Path) -> None:
    first = served(folder, folder / "first.log")
    roles = {role for role, _, _ in SIGN_IN.findall(first)}
    assert roles == {"coordinator", "surgeon", "auditor", "administrator"}
    patients, operations = count(folder, "patient"), count(folder, "operation")
    assert patients > 50
    second = served(folder, folder / "second.log")
    assert SIGN_IN.findall(second) == SIGN_IN.findall(first)
    assert (count(folder, "patient"), count(folder, "operation")) == (patients, operations)
    assert not (folder / "followup.sqlite3").exists()


def test_what_it_would_send_lies_as_files_beside_its_data(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("EMAIL_URL", "smtp://mail.clinic.example:25")
    monkeypatch.setenv("DATABASE_URL", "postgres://clinic")
    environment = environment_of(tmp_path / "demo")
    assert "DATABASE_URL" not in environment
    monkeypatch.setenv("EMAIL_URL", environment["EMAIL_URL"])
    assert Env().email_url("EMAIL_URL")["EMAIL_FILE_PATH"] == str(tmp_path / "demo" / "mail")
