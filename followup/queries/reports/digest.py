"""What the morning digest counts. Plain numbers: no name leaves the clinic by e-mail."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from followup.domain.words import AppointmentState, Lane, Standing
from followup.models import Appointment, Site
from followup.queries.standing import EyeStandingRow, site_standings, sum_of_standings


@dataclass(frozen=True, slots=True)
class Digest:
    """Counts of eyes on a day, but for `without_outcome`, which counts appointments."""

    site: Site
    day: date
    since: date
    """The day of the digest before."""
    standings: dict[Standing, int]
    newly_overdue: int
    """Eyes now overdue whose window was still open on `since`."""
    oil_past_limit: int
    without_outcome: int
    """Appointments before `day` of which nobody has said what happened."""

    @property
    def operated(self) -> int:
        return sum(self.standings.values())


def digest_of(*, site: Site, day: date, since: date) -> Digest:
    rows = site_standings(site=site, day=day)
    open_states = [state.value for state in AppointmentState if state.awaits_outcome]
    past = Appointment.objects.filter(session__site=site, state__in=open_states, day__lt=day)
    return Digest(
        site=site,
        day=day,
        since=since,
        standings=sum_of_standings(rows),
        newly_overdue=sum(_became_overdue(row, since) for row in rows),
        oil_past_limit=sum(_removal_overdue(row) for row in rows),
        without_outcome=past.count(),
    )


def _became_overdue(row: EyeStandingRow, since: date) -> bool:
    closed = row.standing.since
    return row.standing.standing is Standing.OVERDUE and closed is not None and closed >= since


def _removal_overdue(row: EyeStandingRow) -> bool:
    lanes = row.standing.lanes
    return any(lane.lane is Lane.REMOVAL and lane.standing is Standing.OVERDUE for lane in lanes)
