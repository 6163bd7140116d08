"""A real subscriber: vdirsyncer fetches an address over HTTP, khal shows it on the zone's wall."""

from __future__ import annotations

import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import NamedTuple

PROGRAMS = Path(sys.executable).parent

FETCHING = """
[general]
status_path = "{folder}/status/"
[pair calendar]
a = "address"
b = "folder"
collections = null
[storage address]
type = "http"
url = "{url}"
[storage folder]
type = "filesystem"
path = "{folder}/fetched/"
fileext = ".ics"
"""

SHOWING = """
[calendars]
[[calendar]]
path = {folder}/fetched/
readonly = True
[locale]
local_timezone = {zone}
default_timezone = {zone}
timeformat = %H:%M
dateformat = %Y-%m-%d
longdateformat = %Y-%m-%d
datetimeformat = %Y-%m-%d %H:%M
longdatetimeformat = %Y-%m-%d %H:%M
[sqlite]
path = {folder}/khal.db
[default]
highlight_event_days = False
"""


class Shown(NamedTuple):
    """One entry as a person sees it. starts, ends: wall times such as 2026-06-10 09:00."""

    starts: str
    ends: str
    title: str
    status: str
    text: str


class Subscriber:
    def __init__(self, folder: Path, url: str, zone: str) -> None:
        self.folder = folder
        (folder / "fetched").mkdir()
        (folder / "vdirsyncer.conf").write_text(FETCHING.format(folder=folder, url=url))
        (folder / "khal.conf").write_text(SHOWING.format(folder=folder, zone=zone))
        self._run("vdirsyncer", "discover")

    def fetch(self) -> None:
        self._run("vdirsyncer", "sync")

    def shown(self, first: str, length: str) -> list[Shown]:
        """Every entry of the days from `first`, as khal lists them, in order."""
        pattern = "{start-long}|{end-long}|{title}|{status}|{description}\x1e"
        listed = self._run("khal", "list", "--day-format", "", "--format", pattern, first, length)
        entries = [entry.strip() for entry in listed.split("\x1e")]
        return [Shown(*map(str.strip, entry.split("|", 4))) for entry in entries if entry]

    def _run(self, program: str, *arguments: str) -> str:
        quiet = ["-v", "ERROR"] if program == "vdirsyncer" else []
        command = [PROGRAMS / program, *quiet, "-c", self.folder / f"{program}.conf", *arguments]
        done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=400)
        if done.returncode:
            raise RuntimeError(f"{program} {' '.join(arguments)} failed: {done.stdout} {done.stderr}")
        return done.stdout


class _Quiet(SimpleHTTPRequestHandler):
    def log_message(self, format: str, *args: object) -> None:
        pass


@contextmanager
def served(folder: Path) -> Iterator[str]:
    """The files of a folder over HTTP; the address of the folder."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(_Quiet, directory=str(folder)))
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
