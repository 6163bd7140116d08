"""The places that people of a site need: whoever is to book or overdue, most pressing first."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from followup.domain.standing import LaneStanding
from followup.domain.words import AppointmentState, Lane, SessionKind, Standing
from followup.models import Appointment, Eye, Patient, Site, Unavailable
from followup.queries.proposal.assign import Due, Want
from followup.queries.standing import EyeStandingRow, site_standings

_TO_DO = (Standing.OVERDUE, Standing.TO_BOOK)
_WEIGHTS = (16, 8, 4, 2)
"""Oil past its limit, only eye, two or more reviews missed, child; 1 for everybody else."""


@dataclass(frozen=True, slots=True)
class Need:
    """A want with the person and the eyes it is for."""

    want: Want
    patient: Patient
    lane: Lane
    eyes: tuple[Eye, ...]
    purpose: tuple[str, ...]
    """For each eye, what is next."""
    reasons: tuple[str, ...]
    """Why it is pressing."""

    @property
    def eye(self) -> Eye | None:
        """The eye to be operated on; None for a review, which sees the person."""
        return self.eyes[0] if self.lane is Lane.REMOVAL else None


def needs_of(site: Site, day: date) -> list[Need]:
    """Every lane that is to book or overdue and that no place covers, most pressing first.

    Reviews of both eyes of a person are one need where one day can lie in the periods of both. Somebody
    who reports new symptoms is in no list of routine places until a surgeon has signed what to do.
    """
    away, held = _away(site, day), _held(site, day)
    lanes = [(row, lane) for row, lane in _open_lanes(site, day) if not row.state.open_reports]
    needs = []
    for steps in _together(lanes):
        patient = steps[0][0].eye.patient_id
        needs.append(_need(steps, day, away.get(patient, ()), held.get(patient, frozenset())))
    return needs


_Step = tuple[EyeStandingRow, LaneStanding]


def open_needs(site: Site, day: date, patients: Collection[int]) -> set[tuple[int, Lane, int | None]]:
    """What these people still need: person, lane, and in theatre the eye."""
    eyes = list(Eye.objects.filter(patient__in=patients).values_list("pk", flat=True))
    return {
        (row.eye.patient_id, lane.lane, row.eye.pk if lane.lane is Lane.REMOVAL else None)
        for row, lane in _open_lanes(site, day, eyes)
    }


def _open_lanes(site: Site, day: date, eyes: Collection[int] | None = None) -> Iterator[_Step]:
    for row in site_standings(site=site, day=day, eye_ids=eyes):
        for lane in row.standing.lanes:
            if lane.standing in _TO_DO and lane.milestone is not None and lane.appointment is None:
                yield row, lane


def _together(steps: Sequence[_Step]) -> list[list[_Step]]:
    """Each need with its steps, in the order of the first: both eyes of a person in one review."""
    found: list[list[_Step]] = []
    reviews: dict[int, list[_Step]] = {}
    for row, lane in steps:
        first = reviews.get(row.eye.patient_id)
        if lane.lane is Lane.REVIEW and first and _fit_together(first[0][1], lane):
            first.append((row, lane))
            continue
        found.append([(row, lane)])
        if lane.lane is Lane.REVIEW:
            reviews.setdefault(row.eye.patient_id, found[-1])
    return found


def _fit_together(one: LaneStanding, other: LaneStanding) -> bool:
    """The later of the two opens within the period of the other."""
    milestones = [lane.milestone for lane in (one, other) if lane.milestone is not None]
    opens = max(each.opens for each in milestones)
    return all(each.period_ends is None or opens <= each.period_ends for each in milestones)


def _need(
    steps: Sequence[_Step], day: date, away: tuple[tuple[date, date], ...], held: frozenset[int]
) -> Need:
    rows, lanes = zip(*steps, strict=True)
    lane = lanes[0].lane
    kind = SessionKind.THEATRE if lane is Lane.REMOVAL else SessionKind.CLINIC
    return Need(
        want=Want(
            patient=rows[0].eye.patient_id,
            kind=kind.value,
            dues=tuple(_due(each) for each in lanes),
            weight=max(_weight(row, each, day) for row, each in steps),
            away=away,
            not_in=held,
        ),
        patient=rows[0].eye.patient,
        lane=lane,
        eyes=tuple(row.eye for row in rows),
        purpose=tuple(f"{row.side.label}: {each.next_step}" for row, each in steps),
        reasons=tuple(dict.fromkeys(reason for row in rows for reason in row.priority.reasons)),
    )


def _due(lane: LaneStanding) -> Due:
    """Delay counts from the first window that closed; an overdue eye may come at once."""
    milestone = lane.milestone
    assert milestone is not None
    if lane.since is not None:
        return Due(min(milestone.opens, lane.since), min(milestone.target, lane.since), lane.since)
    return Due(milestone.opens, milestone.target, milestone.closes)


def _weight(row: EyeStandingRow, lane: LaneStanding, day: date) -> int:
    """By the first question of the priority that the eye answers with yes."""
    state = row.state
    asked = (
        lane.lane is Lane.REMOVAL and lane.standing is Standing.OVERDUE,
        state.traits.only_eye,
        row.standing.missed >= 2,
        state.is_child_on(day),
    )
    return next((weight for weight, yes in zip(_WEIGHTS, asked, strict=True) if yes), 1)


def _away(site: Site, day: date) -> dict[int, tuple[tuple[date, date], ...]]:
    found: defaultdict[int, tuple[tuple[date, date], ...]] = defaultdict(tuple)
    rows = Unavailable.objects.filter(patient__site=site, last_day__gte=day).order_by("id")
    for patient, first, last in rows.values_list("patient_id", "first_day", "last_day"):
        found[patient] += ((first, last),)
    return found


def _held(site: Site, day: date) -> dict[int, frozenset[int]]:
    """The sessions ahead in which each person holds a place already."""
    found: defaultdict[int, frozenset[int]] = defaultdict(frozenset)
    places = Appointment.objects.filter(patient__site=site, day__gte=day)
    for patient, session in places.exclude(state=AppointmentState.CANCELLED.value).values_list(
        "patient_id", "session_id"
    ):
        found[patient] |= {session}
    return found
