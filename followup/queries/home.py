"""The day at a glance: the sum of standings, and what today asks of whom."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from followup.domain.words import Lane, Standing
from followup.models import ImportBatch, Patient, Site, SymptomReport
from followup.queries.booking import without_outcome
from followup.queries.day_sheet import OpenSession, sessions_left_open
from followup.queries.night import NightWork, night_work
from followup.queries.recall import is_due
from followup.queries.replies import how_many_cannot_come
from followup.queries.standing import EyeStandingRow, operated_eyes, site_standings, sum_of_standings
from followup.queries.urgent import deaths_to_confirm, open_reports


@dataclass(frozen=True, slots=True)
class DayAtAGlance:
    standings: dict[Standing, int]
    operated: int
    """Counted apart from the standings, so that a sum that does not add up shows."""
    overdue_removals: int
    without_outcome: int
    oldest_without_outcome: date | None
    left_open: tuple[OpenSession, ...]
    """Past sessions with places among these, the longest ago first."""
    cannot_come: int
    """Booked people who answered an invitation so."""
    calls_due: int
    symptoms: tuple[SymptomReport, ...]
    """New symptoms that no clinician has answered yet."""
    deaths_to_confirm: tuple[Patient, ...]
    imports_waiting: int
    night: NightWork

    @property
    def adds_up(self) -> bool:
        return sum(self.standings.values()) == self.operated


def day_at_a_glance(site: Site, day: date) -> DayAtAGlance:
    rows = site_standings(site=site, day=day)
    unsaid = without_outcome(site, day)
    return DayAtAGlance(
        standings=sum_of_standings(rows),
        operated=operated_eyes(site).count(),
        overdue_removals=sum(map(_is_past_limit, rows)),
        without_outcome=len(unsaid),
        oldest_without_outcome=unsaid[0].day if unsaid else None,
        left_open=tuple(sessions_left_open(unsaid)),
        cannot_come=how_many_cannot_come(site, day),
        calls_due=_calls_due(rows, day),
        symptoms=open_reports(site),
        deaths_to_confirm=deaths_to_confirm(site),
        imports_waiting=ImportBatch.objects.filter(site=site, state="checked").count(),
        night=night_work(site=site),
    )


def _is_past_limit(row: EyeStandingRow) -> bool:
    return any(lane.lane is Lane.REMOVAL and lane.standing is Standing.OVERDUE for lane in row.standing.lanes)


def _calls_due(rows: Sequence[EyeStandingRow], day: date) -> int:
    """People for whom a step of the ladder is due; both eyes of a person are one call."""
    return len({row.eye.patient_id for row in rows if is_due(row.standing.contact, day)})
