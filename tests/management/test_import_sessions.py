"""The command that takes in a calendar of sessions."""

from __future__ import annotations

from io import StringIO
from pathlib import Path

import pytest
import time_machine
from django.core.management import CommandError, call_command

from followup.models import Session
from tests.builders import NOW, make_site

pytestmark = pytest.mark.django_db

CALENDAR = """BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//Test//EN
BEGIN:VEVENT
UID:retina@calendar.example
DTSTAMP:20260301T080000Z
DTSTART;TZID=Africa/Cairo:20260309T090000
DTEND;TZID=Africa/Cairo:20260309T120000
RRULE:FREQ=WEEKLY;COUNT=2
SUMMARY:Retina
END:VEVENT
BEGIN:VEVENT
UID:meeting@calendar.example
DTSTAMP:20260301T080000Z
DTSTART;TZID=Nowhere:20260309T090000
SUMMARY:Meeting
END:VEVENT
END:VCALENDAR
"""


@pytest.fixture
def file(tmp_path: Path) -> Path:
    make_site(name="Harbour", time_zone="Africa/Cairo")
    path = tmp_path / "clinics.ics"
    path.write_text(CALENDAR)
    return path


def import_sessions(*arguments: object) -> list[str]:
    output = StringIO()
    with time_machine.travel(NOW, tick=False):
        call_command("import_sessions", *map(str, arguments), stdout=output)
    return output.getvalue().splitlines()


USUAL = ("--site", "Harbour", "--kind", "clinic", "--places", "9")


def test_without_confirm_it_says_what_it_would_do(file: Path) -> None:
    said = import_sessions(file, *USUAL)
    assert said[0].startswith('Refused. Line 15, meeting@calendar.example: "DTSTART;TZID=Nowhere": the zone')
    assert said[1:] == [
        "New: Retina, 2026-03-09 09:00.",
        "New: Retina, 2026-03-16 09:00.",
        "2 new, 0 changed, 0 same, 0 gone, 0 needs a person, 0 refused.",
        "Nothing was written. Add --confirm to write it.",
    ]
    assert not Session.objects.exists()


def test_with_confirm_it_writes_once(file: Path) -> None:
    assert import_sessions(file, *USUAL, "--confirm")[-1].startswith("2 new")
    assert import_sessions(file, *USUAL, "--confirm")[1:] == [
        "0 new, 0 changed, 2 same, 0 gone, 0 needs a person, 0 refused."
    ]
    assert set(Session.objects.values_list("source_calendar", "places")) == {("clinic", 9)}


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--site", "Harbour"), "Say what the entries are: --kind with --places, or --named."),
        (("--site", "Harbour", "--kind", "clinic"), "Give --kind and --places together."),
        (("--site", "Hill", "--kind", "clinic", "--places", "9"), 'There is no site "Hill". Sites: Harbour.'),
        ((*USUAL, "--by", "nobody"), 'Nobody signs in as "nobody".'),
    ],
)
def test_what_is_missing_is_said(file: Path, arguments: tuple[str, ...], said: str) -> None:
    with pytest.raises(CommandError) as fault:
        import_sessions(file, *arguments)
    assert str(fault.value) == said


def test_a_file_that_is_no_calendar_is_refused(file: Path, tmp_path: Path) -> None:
    (tmp_path / "page.ics").write_text("<html>")
    with pytest.raises(CommandError, match="where an iCalendar file has BEGIN:VCALENDAR"):
        import_sessions(tmp_path / "page.ics", *USUAL)
    with pytest.raises(CommandError, match="cannot be read: No such file"):
        import_sessions(tmp_path / "none.ics", *USUAL)
