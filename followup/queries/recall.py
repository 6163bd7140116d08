"""Whom to book and whom to chase, most pressing first, with the reason in words."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from django.db.models import F, Window
from django.db.models.functions import RowNumber

from followup.domain.ladder import Rung
from followup.domain.standing import FITTING, LaneStanding
from followup.domain.words import DecisionKind, Lane, Standing
from followup.models import ContactAttempt, Eye, Operation, Patient, Site, Staff
from followup.queries.postponed import Postponed, Whose, postponements
from followup.queries.standing import EyeStandingRow, site_standings

_RECENT = 8
TO_DO = frozenset({Standing.OVERDUE, Standing.TO_BOOK})


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which eyes a list is to show; what is not said does not matter."""

    standings: frozenset[Standing] = frozenset()
    lane: Lane | None = None
    only_eye: bool = False
    surgeon: str = ""
    call_due: bool = False
    """The next contact was to be made by today."""


@dataclass(frozen=True, slots=True)
class AskedRow:
    """One open question, and the decisions that answer it."""

    lane: LaneStanding
    fitting: tuple[DecisionKind, ...]


@dataclass(frozen=True, slots=True)
class RecallRow:
    """One eye of the list, with what the person on the telephone needs."""

    row: EyeStandingRow
    surgeon: str
    """Who did the operation that follow-up counts from; "" where nobody is on record."""
    attempts: tuple[ContactAttempt, ...] = ()
    """The last few attempts to reach this person, the last first: numbers used, when, and what came of it."""
    put_off: tuple[Postponed, ...] = ()
    """What the clinic itself cancelled and is not booked again."""

    @property
    def patient(self) -> Patient:
        return self.row.eye.patient

    @property
    def last_attempt(self) -> ContactAttempt | None:
        return self.attempts[0] if self.attempts else None

    @property
    def rung(self) -> Rung | None:
        """The next step of the ladder; None while there is nothing to reach them for."""
        return self.row.standing.contact

    @property
    def questions(self) -> list[AskedRow]:
        asked = self.row.standing.questions
        return [AskedRow(lane, FITTING[lane.question]) for lane in asked if lane.question]

    @property
    def leading(self) -> LaneStanding | None:
        return self.row.standing.leading

    @property
    def to_book(self) -> Lane:
        """The lane whose place is missing most."""
        planned = (lane for lane in self.row.standing.lanes if lane.question is None)
        return next((lane.lane for lane in planned if lane.appointment is None), Lane.REVIEW)


def recall_list(*, site: Site, day: date, wanted: Wanted) -> list[RecallRow]:
    """The eyes of the site that are wanted, most pressing first."""
    rows = [row for row in site_standings(site=site, day=day) if _is_wanted(row, wanted)]
    surgeons, attempts, put_off = _surgeons(rows), recent_attempts(site), postponements(site)
    listed = [
        RecallRow(
            row,
            surgeons.get(row.state.course.operation_id, ""),
            attempts.get(row.eye.patient_id, ()),
            tuple(_put_off(row, put_off)),
        )
        for row in rows
    ]
    return [
        row
        for row in listed
        if (not wanted.surgeon or row.surgeon == wanted.surgeon)
        and (not wanted.call_due or is_due(row.rung, day))
    ]


def _put_off(row: EyeStandingRow, put_off: Mapping[Whose, Postponed]) -> Iterator[Postponed]:
    """Of the lanes of this eye that nothing covers, what the clinic cancelled."""
    for lane in row.standing.lanes:
        eye = row.eye.pk if lane.lane is Lane.REMOVAL else None
        found = put_off.get((row.eye.patient_id, eye))
        if found is not None and lane.appointment is None and lane.milestone is not None:
            yield found


def person_rows(patient: Patient, day: date) -> list[RecallRow]:
    """The operated eyes of one person, most pressing first. Needs the site at hand."""
    eyes = list(Eye.objects.filter(patient=patient).values_list("pk", flat=True))
    rows = site_standings(site=patient.site, day=day, eye_ids=eyes)
    made = ContactAttempt.objects.filter(patient=patient).select_related("made_by").order_by("-day", "-id")
    attempts = tuple(made[:_RECENT])
    return [RecallRow(row, "", attempts) for row in rows]


def questions(*, site: Site, day: date) -> list[RecallRow]:
    """The eyes on which a clinician must decide."""
    return recall_list(site=site, day=day, wanted=Wanted(frozenset({Standing.NEEDS_DECISION})))


def surgeons_of(site: Site) -> list[str]:
    """The names of those who operated at this site, in order."""
    operated = Operation.objects.filter(eye__patient__site=site, in_error=False)
    signed_in = Staff.objects.filter(pk__in=operated.values("surgeon"))
    written = operated.filter(surgeon=None).exclude(surgeon_name="").values_list("surgeon_name", flat=True)
    return sorted({*map(str, signed_in), *written.distinct()})


def is_due(rung: Rung | None, day: date) -> bool:
    """A step of the ladder is to be taken by `day`, and it is not a clinician's."""
    return rung is not None and not rung.is_exhausted and rung.due <= day


def surgeon_name(operation: Operation) -> str:
    """Who operated: the member of staff, else the name as written. Needs the surgeon at hand."""
    return str(operation.surgeon) if operation.surgeon else operation.surgeon_name


def _is_wanted(row: EyeStandingRow, wanted: Wanted) -> bool:
    standing = row.standing
    if wanted.standings and standing.standing not in wanted.standings:
        return False
    if wanted.lane and (standing.leading is None or standing.leading.lane is not wanted.lane):
        return False
    return row.eye.only_eye or not wanted.only_eye


def _surgeons(rows: Collection[EyeStandingRow]) -> dict[int, str]:
    """Who did the operation that each eye's follow-up counts from, by operation."""
    anchors = {row.state.course.operation_id for row in rows}
    sites = {row.eye.patient.site_id for row in rows}
    operations = Operation.objects.filter(eye__patient__site__in=sites).select_related("surgeon")
    return {row.pk: surgeon_name(row) for row in operations if row.pk in anchors}


def recent_attempts(site: Site) -> dict[int, tuple[ContactAttempt, ...]]:
    """The last few contact attempts of each person, the last first, by patient."""
    place = Window(RowNumber(), partition_by=F("patient_id"), order_by=[F("day").desc(), F("id").desc()])
    attempts = ContactAttempt.objects.filter(patient__site=site).annotate(place=place)
    found: dict[int, tuple[ContactAttempt, ...]] = {}
    for attempt in attempts.filter(place__lte=_RECENT).select_related("made_by").order_by("-day", "-id"):
        found[attempt.patient_id] = (*found.get(attempt.patient_id, ()), attempt)
    return found
