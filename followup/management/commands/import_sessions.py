"""Takes in a calendar of clinics and theatre lists: says what it would do and, when told to, does it."""

from __future__ import annotations

from argparse import ArgumentParser
from collections import Counter
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from followup.domain.dates.zones import local_day
from followup.domain.errors import FollowUpError
from followup.domain.words import SessionKind
from followup.interchange.feeds.sessions_in import KindOfSession, Kinds, read_kind, read_sessions
from followup.management.commands._arguments import content_of, site_named, staff_named
from followup.models import Site
from followup.services.session_import import import_sessions, preview_sessions
from followup.services.session_plan import CalendarOfSessions, Outcome, SessionRow


class Command(BaseCommand):
    help = "Check an iCalendar file of sessions; open, change and cancel them with --confirm."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--site", required=True, help="Name of the site.")
        parser.add_argument("--kind", choices=SessionKind.codes(), help="What an entry is, unless --named.")
        parser.add_argument("--places", type=int, help="Places of such a session.")
        parser.add_argument(
            "--named",
            action="append",
            default=[],
            metavar="NAME=KIND:PLACES",
            help="What entries of a category or a name are, for example Theatre=theatre:4. May be repeated.",
        )
        parser.add_argument("--days", type=int, default=400, help="How far ahead to read, from today.")
        parser.add_argument(
            "--calendar", default="", help="Its name, where a site has several. Default: --kind."
        )
        parser.add_argument("--confirm", action="store_true", help="Do it.")
        parser.add_argument("--by", default="", help="Sign-in name of whoever is responsible.")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            self._run(options, timezone.now())
        except FollowUpError as fault:
            raise CommandError(fault.message) from None

    def _run(self, options: dict[str, Any], now: datetime) -> None:
        site, by = site_named(options["site"]), staff_named(options["by"])
        calendar = self._read(options, site, now)
        if options["confirm"]:
            rows = import_sessions(by=by, now=now, site=site, calendar=calendar)
        else:
            rows = preview_sessions(now=now, site=site, calendar=calendar)
        self._write(rows)
        if not options["confirm"]:
            self.stdout.write("Nothing was written. Add --confirm to write it.")

    def _read(self, options: dict[str, Any], site: Site, now: datetime) -> CalendarOfSessions:
        today = local_day(now, site.time_zone)
        calendar, problems = read_sessions(
            content_of(options["file"]),
            site=site,
            kinds=_kinds(options),
            name=options["calendar"] or options["kind"] or "",
            first=today,
            last=today + timedelta(days=options["days"]),
        )
        for problem in problems:
            self.stdout.write(f"{'Refused. ' if problem.refused else ''}{problem}")
        return calendar

    def _write(self, rows: list[SessionRow]) -> None:
        for row in rows:
            if row.outcome is not Outcome.SAME:
                line = f"{row.outcome.capitalize()}: {row.title}, {row.day} {row.starts:%H:%M}. {row.reason}"
                self.stdout.write(line.rstrip())
        counts = Counter(row.outcome for row in rows)
        self.stdout.write(", ".join(f"{counts[outcome]} {outcome}" for outcome in Outcome) + ".")


def _kinds(options: dict[str, Any]) -> Kinds:
    named = dict(read_kind(text) for text in options["named"])
    kind, places = options["kind"], options["places"]
    if (kind is None) != (places is None):
        raise CommandError("Give --kind and --places together.")
    if kind is None and not named:
        raise CommandError("Say what the entries are: --kind with --places, or --named.")
    return Kinds(KindOfSession(SessionKind(kind), places) if kind else None, named)
