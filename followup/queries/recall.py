"""Whom to book and whom to chase, most pressing first, with the reason in words."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date

from django.db.models import F, Window
from django.db.models.functions import RowNumber

from followup.domain.standing import LaneStanding
from followup.domain.words import Lane, Standing
from followup.models import ContactAttempt, Operation, Patient, Site, Staff
from followup.queries.standing import EyeStandingRow, site_standings

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
class RecallRow:
    """One eye of the list, with what the person on the telephone needs."""

    row: EyeStandingRow
    surgeon: str
    """Who did the operation that follow-up counts from; "" where nobody is on record."""
    last_attempt: ContactAttempt | None

    @property
    def patient(self) -> Patient:
        return self.row.eye.patient

    @property
    def leading(self) -> LaneStanding | None:
        return self.row.standing.leading

    @property
    def to_book(self) -> Lane:
        """The lane whose place is missing most."""
        return next((lane.lane for lane in self.row.standing.lanes if lane.appointment is None), Lane.REVIEW)


def recall_list(*, site: Site, day: date, wanted: Wanted) -> list[RecallRow]:
    """The eyes of the site that are wanted, most pressing first."""
    rows = [row for row in site_standings(site=site, day=day) if _is_wanted(row, wanted)]
    surgeons, attempts = _surgeons(rows), last_attempts(site)
    listed = [
        RecallRow(row, surgeons.get(row.state.course.operation_id, ""), attempts.get(row.eye.patient_id))
        for row in rows
    ]
    return [
        row
        for row in listed
        if (not wanted.surgeon or row.surgeon == wanted.surgeon)
        and (not wanted.call_due or is_call_due(row.last_attempt, day))
    ]


def questions(*, site: Site, day: date) -> list[RecallRow]:
    """The eyes on which a clinician must decide."""
    return recall_list(site=site, day=day, wanted=Wanted(frozenset({Standing.NEEDS_DECISION})))


def surgeons_of(site: Site) -> list[str]:
    """The names of those who operated at this site, in order."""
    operated = Operation.objects.filter(eye__patient__site=site, in_error=False)
    signed_in = Staff.objects.filter(pk__in=operated.values("surgeon"))
    written = operated.filter(surgeon=None).exclude(surgeon_name="").values_list("surgeon_name", flat=True)
    return sorted({*map(str, signed_in), *written.distinct()})


def is_call_due(attempt: ContactAttempt | None, day: date) -> bool:
    """The last attempt to reach this person said to try again by `day`."""
    return attempt is not None and attempt.next_step_on is not None and attempt.next_step_on <= day


def surgeon_name(operation: Operation) -> str:
    """Who operated: the member of staff, else the name as written. Needs the surgeon at hand."""
    return str(operation.surgeon) if operation.surgeon else operation.surgeon_name


def _is_wanted(row: EyeStandingRow, wanted: Wanted) -> bool:
    standing = row.standing
    if wanted.standings and standing.standing not in wanted.standings:
        return False
    if wanted.call_due and standing.standing is Standing.CLOSED:
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


def last_attempts(site: Site) -> dict[int, ContactAttempt]:
    """The last contact attempt of each person, by patient."""
    place = Window(RowNumber(), partition_by=F("patient_id"), order_by=[F("day").desc(), F("id").desc()])
    attempts = ContactAttempt.objects.filter(patient__site=site).annotate(place=place).filter(place=1)
    return {attempt.patient_id: attempt for attempt in attempts}
