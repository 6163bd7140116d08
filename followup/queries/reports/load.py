"""The load ahead: reviews and removals falling due in each of the next weeks against the places there are.

Due are the planned milestones of every eye that is not closed, a person's reviews of one week counted once,
and what new operations bring if as many come as in the last half year. Places are those of the sessions that
are open, and of the rota where none is open yet. Attendance is the site's own of the last year.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import median_low

from django.db.models import Count

from followup.domain.dates.workdays import iso_week_label
from followup.domain.words import AppointmentState, Lane, SessionKind, Standing
from followup.models import Appointment, Course, Milestone, Session, Site
from followup.queries.reports.load_model import Forecast, LaneLoad, WeekAhead, forecast
from followup.queries.rota import patterns_of, planned_days, shut_days
from followup.queries.sessions import open_sessions
from followup.queries.standing import EyeStandingRow, site_standings

WEEKS = 26
_YEAR = timedelta(days=365)
_KINDS = {Lane.REVIEW: SessionKind.CLINIC, Lane.REMOVAL: SessionKind.THEATRE}


@dataclass(frozen=True, slots=True)
class LoadWeek:
    monday: date
    label: str
    """ISO 8601, such as 2026-W10."""
    ahead: WeekAhead
    with_one_more: WeekAhead
    """The same week if there were one more session every week."""


@dataclass(frozen=True, slots=True)
class LoadReport:
    """One lane. extra: places of a usual session, for reckoning one more a week; 0 if there is none."""

    lane: Lane
    load: LaneLoad
    weeks: tuple[LoadWeek, ...]
    falls_behind: LoadWeek | None
    falls_behind_with_one_more: LoadWeek | None
    extra: int

    @property
    def attendance(self) -> float | None:
        """Share of the last year's places whose person came; None where none has an outcome."""
        counted = self.load.came + self.load.missed
        return self.load.came / counted if counted else None


def load_ahead(*, site: Site, day: date, seed: int) -> list[LoadReport]:
    """Reviews, then removals, from the week of `day` on. The same seed gives the same figures."""
    rows = [row for row in site_standings(site=site, day=day) if row.standing.standing is not Standing.CLOSED]
    return [_report(site, rows, lane, day, seed) for lane in Lane]


def _report(site: Site, rows: Sequence[EyeStandingRow], lane: Lane, day: date, seed: int) -> LoadReport:
    monday = day - timedelta(days=day.weekday())
    load = _load(site, rows, lane, day, monday)
    extra = _usual_places(site, _KINDS[lane], day)
    now, more = forecast(load, seed=seed), forecast(load.with_more(extra), seed=seed)
    weeks = tuple(_weeks(monday, now, more))
    return LoadReport(
        lane=lane,
        load=load,
        weeks=weeks,
        falls_behind=weeks[now.first_behind] if now.first_behind is not None else None,
        falls_behind_with_one_more=weeks[more.first_behind] if more.first_behind is not None else None,
        extra=extra,
    )


def _weeks(monday: date, now: Forecast, more: Forecast) -> Iterator[LoadWeek]:
    for number, (ahead, one_more) in enumerate(zip(now.weeks, more.weeks, strict=True)):
        first = monday + timedelta(weeks=number)
        yield LoadWeek(first, iso_week_label(first), ahead, one_more)


def _load(site: Site, rows: Sequence[EyeStandingRow], lane: Lane, day: date, monday: date) -> LaneLoad:
    due, waiting = _due(rows, lane, day, monday)
    came, missed = _attendance(site, lane, day)
    brings = _brought(site, lane, day)
    return LaneLoad(
        due=due,
        places=_places(site, _KINDS[lane], day, monday),
        waiting=waiting,
        came=came,
        missed=missed,
        operations=len(brings) / WEEKS,
        brings=brings,
    )


def _due(rows: Sequence[EyeStandingRow], lane: Lane, day: date, monday: date) -> tuple[tuple[int, ...], int]:
    """How many places fall due in each week, by the day booked or else the target; and how many wait."""
    wanted: set[tuple[int, int]] = set()
    last = monday + timedelta(weeks=WEEKS)
    for row in rows:
        whose = row.eye.pk if lane is Lane.REMOVAL else row.eye.patient_id
        wanted |= {(whose, (when - monday).days // 7) for when in _days(row, lane, day, last)}
    overdue = {whose for whose, week in wanted if week < 0}
    counted = Counter(week for _, week in wanted)
    return tuple(counted[week] for week in range(WEEKS)), len(overdue)


def _days(row: EyeStandingRow, lane: Lane, day: date, last: date) -> Iterator[date]:
    """The days before `last` on which this eye wants a place; a past one for what is overdue."""
    step = next((each for each in row.standing.lanes if each.lane is lane and each.milestone), None)
    if step is None or step.milestone is None or step.review_on is not None:
        return
    yield step.appointment.day if step.appointment else step.milestone.target
    for milestone in row.state.course.milestones_by(last):
        if milestone.lane is lane and milestone.is_unmet and step.milestone.target < milestone.target < last:
            yield milestone.target


def _places(site: Site, kind: SessionKind, day: date, monday: date) -> tuple[int, ...]:
    last = monday + timedelta(days=7 * WEEKS - 1)
    by_week: Counter[int] = Counter()
    for row in open_sessions(site, kind.value, day, last):
        by_week[(row.session.day - monday).days // 7] += row.session.places
    there = set(
        Session.objects.filter(site=site, pattern__isnull=False).values_list("pattern_id", "pattern_day")
    )
    shut = shut_days(site, day, last)
    for pattern in patterns_of(site):
        for held, values in planned_days(pattern, shut, day, last).items():
            if pattern.kind == kind.value and (pattern.pk, held) not in there:
                by_week[(held - monday).days // 7] += values["places"]
    return tuple(by_week[week] for week in range(WEEKS))


def _usual_places(site: Site, kind: SessionKind, day: date) -> int:
    sessions = Session.objects.filter(site=site, kind=kind.value, cancelled=False, day__gte=day - _YEAR)
    places = list(sessions.values_list("places", flat=True))
    return median_low(places) if places else 0


def _attendance(site: Site, lane: Lane, day: date) -> tuple[int, int]:
    """Of the places of the last year with an outcome, how many came and how many did not."""
    places = Appointment.objects.filter(
        patient__site=site, lane=lane.value, day__lt=day, day__gte=day - _YEAR
    )
    counted = dict(places.values_list("state").annotate(Count("id")))
    return (
        counted.get(AppointmentState.FULFILLED.value, 0),
        counted.get(AppointmentState.NOSHOW.value, 0),
    )


def _brought(site: Site, lane: Lane, day: date) -> tuple[tuple[int, ...], ...]:
    """Of each course begun in the last half year, in how many weeks after it places fall due."""
    since = day - timedelta(weeks=WEEKS)
    courses = Course.objects.filter(eye__patient__site=site, anchor__gt=since, anchor__lte=day)
    offsets: defaultdict[int, list[int]] = defaultdict(list)
    planned = Milestone.objects.filter(course__in=courses.values("pk"), lane=lane.value, one_off=False)
    for course, anchor, target in planned.order_by("id").values_list("course_id", "course__anchor", "target"):
        offsets[course].append((target - anchor).days // 7)
    return tuple(tuple(offsets[pk]) for pk in courses.order_by("id").values_list("pk", flat=True))
