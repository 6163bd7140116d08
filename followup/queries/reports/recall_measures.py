"""How well recall works, month by month, told from what is known now.

Overdue eyes are counted anew for each month's end from the facts of that day, so a late entry or a correction
mends earlier months too.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import median

from followup.domain.facts import AttemptFact, EyeHistory
from followup.domain.ladder import Chase, Ladder, rung_on
from followup.domain.pathway.book import PathwayBook
from followup.domain.pathway.planner import plan_eye
from followup.domain.standing import Limits, standing_on, state_of
from followup.domain.survival.binomial import Proportion, clopper_pearson
from followup.domain.words import AppointmentState, Lane, Mark, NotAttending, Standing
from followup.models import Appointment, Eye, Milestone, OutboxMessage, Site
from followup.queries.facts import attempt_facts, eye_histories, pathway_book
from followup.queries.reminders import KIND, place_of_key
from followup.queries.standing import limits_of, operated_eyes

MONTHS = 6
OTHER_WAY = "Another way"
"""Reached on a channel that is no step of the ladder, or after its last."""


@dataclass(frozen=True, slots=True)
class Overdue:
    """Eyes overdue in one lane at a month's end."""

    lane: Lane
    eyes: int
    median_days: float | None
    """Days past the window; None where no eye is overdue."""
    worst_days: int | None


@dataclass(frozen=True, slots=True)
class Month:
    starts: date
    ends: date
    """Its last day, or today in the month that is running."""
    overdue: tuple[Overdue, ...]
    reached_at: tuple[tuple[str, int], ...]
    """Steps of the ladder, and how many calls reached the person there."""
    reminded: Proportion
    """Not attended, of the visits of which a reminder had gone out."""
    not_reminded: Proportion
    reasons: tuple[tuple[str, int], ...]
    """Why people did not attend, the most frequent first."""
    out_in_time: Proportion
    """Oil and heavy liquid whose limit fell in the month: taken out within it."""
    kept: int
    """Of those still in, kept by a signed decision at the month's end."""


def recall_measures(*, site: Site, today: date, months: int = MONTHS) -> list[Month]:
    """The last so many months, the present one first. Constant query count for a number of eyes."""
    eyes = list(operated_eyes(site).values_list("pk", flat=True))
    histories = list(eye_histories(eyes).values())
    book, limits = pathway_book(), limits_of(site)
    attempts = attempt_facts(Eye.objects.filter(patient__site=site).values("pk"))
    spans = list(_spans(today, months))
    visits = _visits(site, spans[-1][0], today)
    removals = _removals(site)
    return [
        _month(span, histories, book, limits, list(attempts.values()), visits, removals) for span in spans
    ]


def _spans(today: date, months: int) -> Iterable[tuple[date, date]]:
    """First and last day of each month, the present one first and only until today."""
    first, last = today.replace(day=1), today
    for _ in range(months):
        yield first, last
        last = first - timedelta(days=1)
        first = last.replace(day=1)


@dataclass(frozen=True, slots=True)
class _Visit:
    day: date
    missed: bool
    reminded: bool
    reason: str


@dataclass(frozen=True, slots=True)
class _Removal:
    eye_id: int
    limit: date
    in_time: bool
    out: bool


def _month(
    span: tuple[date, date],
    histories: Sequence[EyeHistory],
    book: PathwayBook,
    limits: Limits,
    attempts: Sequence[Sequence[AttemptFact]],
    visits: Sequence[_Visit],
    removals: Sequence[_Removal],
) -> Month:
    first, last = span
    seen = [visit for visit in visits if first <= visit.day <= last]
    due = [removal for removal in removals if first <= removal.limit <= last]
    past, kept = _stand(histories, book, limits, last)
    missed = Counter(NotAttending(visit.reason or "not_known").label for visit in seen if visit.missed)
    return Month(
        starts=first,
        ends=last,
        overdue=tuple(_overdue(lane, past[lane]) for lane in Lane),
        reached_at=_reached_at(limits.ladder, attempts, first, last),
        reminded=_missed_of([visit for visit in seen if visit.reminded]),
        not_reminded=_missed_of([visit for visit in seen if not visit.reminded]),
        reasons=tuple(sorted(missed.items(), key=lambda item: (-item[1], item[0]))),
        out_in_time=clopper_pearson(sum(removal.in_time for removal in due), len(due)),
        kept=sum(not removal.out and removal.eye_id in kept for removal in due),
    )


def _stand(
    histories: Sequence[EyeHistory], book: PathwayBook, limits: Limits, day: date
) -> tuple[dict[Lane, list[int]], set[int]]:
    """Days past the window of the eyes overdue on `day`, by lane; and the eyes whose oil was kept."""
    past: dict[Lane, list[int]] = {lane: [] for lane in Lane}
    kept: set[int] = set()
    for history in histories:
        then = history.until(day)
        state = state_of(then, plan_eye(then, book)) if then.operations else None
        if state is None:
            continue
        for lane in standing_on(state, day, limits).lanes:
            if lane.standing is Standing.OVERDUE and lane.since:
                past[lane.lane].append((day - lane.since).days)
            if lane.review_on is not None:
                kept.add(history.eye_id)
    return past, kept


def _overdue(lane: Lane, days: Sequence[int]) -> Overdue:
    return Overdue(lane, len(days), float(median(days)) if days else None, max(days, default=None))


def _reached_at(
    ladder: Ladder, people: Sequence[Sequence[AttemptFact]], first: date, last: date
) -> tuple[tuple[str, int], ...]:
    """At which step people were reached in these days: the next step when the attempt was made."""
    counted: defaultdict[str, int] = defaultdict(int)
    for made in people:
        for number, attempt in enumerate(made):
            if attempt.result.reached and first <= attempt.day <= last:
                before = Chase(attempts=tuple(made[:number]))
                step = rung_on(ladder, before, attempt.day).step
                counted[step.title if attempt.channel in step.channels else OTHER_WAY] += 1
    titles = [*(step.title for step in ladder.steps if step.channels), OTHER_WAY]
    return tuple((title, counted[title]) for title in titles)


def _missed_of(visits: Sequence[_Visit]) -> Proportion:
    return clopper_pearson(sum(visit.missed for visit in visits), len(visits))


def _visits(site: Site, first: date, last: date) -> list[_Visit]:
    """Reviews whose outcome is known, with whether a reminder had gone out for them."""
    sent = OutboxMessage.objects.filter(site=site, kind=KIND, state="sent").values_list("key", flat=True)
    told = {place_of_key(key)[0] for key in sent}
    outcomes = [AppointmentState.FULFILLED.value, AppointmentState.NOSHOW.value]
    rows = Appointment.objects.filter(
        patient__site=site, lane=Lane.REVIEW.value, state__in=outcomes, day__range=(first, last)
    ).values_list("day", "state", "uid", "reason")
    return [_Visit(day, state == "noshow", str(uid) in told, reason) for day, state, uid, reason in rows]


def _removals(site: Site) -> list[_Removal]:
    """Every removal that was ever planned and not overtaken, with whether it was done within its limit."""
    rows = Milestone.objects.filter(course__eye__patient__site=site, lane=Lane.REMOVAL.value)
    rows = rows.exclude(mark=Mark.SUPERSEDED.value)
    return [
        _Removal(eye_id, closes, bool(met_on and met_on <= closes), met_on is not None)
        for eye_id, closes, met_on in rows.values_list("course__eye_id", "closes", "met_on")
    ]
