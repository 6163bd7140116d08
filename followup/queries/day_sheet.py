"""A session's list: who comes when, which eye, how long after which operation, and what to look at."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Q

from followup.domain.dates.elapsed import time_since
from followup.domain.fills import Fill as FillFact
from followup.domain.pathway.milestones import Milestone
from followup.domain.words import AppointmentState, Indication, Lane, Side, Standing, TamponadeKind
from followup.models import Appointment, Course, Eye, Fill, Operation, Session
from followup.queries.standing import EyeStandingRow, fill_fact, site_standings

_ASKED_OF = {
    TamponadeKind.AIR: "Is the bubble gone?",
    TamponadeKind.GAS: "Is the bubble gone?",
    TamponadeKind.OIL: "Pressure. Oil: emulsified, or in front of the iris?",
    TamponadeKind.HEAVY_LIQUID: "Pressure. Heavy liquid: all still behind the lens?",
    TamponadeKind.UNKNOWN: "Which tamponade is in the eye? It is not recorded.",
}
"""What an examiner looks at for what is in the eye (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class EyeLine:
    """One operated eye of somebody on the list, as it is on the day of the session."""

    eye: Eye
    since: str
    """Such as "month 3 (day 92)"; empty where the operation came later."""
    operation: str
    """The operation that follow-up counts from: its day, and what was done."""
    tamponade: str
    """What is in the eye, and its days there; empty for nothing."""
    look_at: tuple[str, ...]

    @property
    def side(self) -> Side:
        return Side(self.eye.side)


@dataclass(frozen=True, slots=True)
class SheetLine:
    """One place of the session."""

    appointment: Appointment
    eyes: tuple[EyeLine, ...]
    """In theatre the one eye; in a clinic every operated eye of the person, RIGHT before LEFT."""

    @property
    def is_open(self) -> bool:
        return AppointmentState(self.appointment.state).awaits_outcome


def day_sheet(session: Session, today: date) -> list[SheetLine]:
    """The places of a session in the order of time, the cancelled ones last. Needs the site at hand."""
    places = Appointment.objects.filter(session=session).select_related("patient", "eye", "session", "visit")
    ordered = sorted(
        places, key=lambda place: (place.state == AppointmentState.CANCELLED, place.local_time, place.pk)
    )
    owners = {place.patient_id for place in ordered}
    ids = list(Eye.objects.filter(patient_id__in=owners).values_list("pk", flat=True))
    rows = site_standings(site=session.site, day=today, eye_ids=ids)
    lines = _eye_lines(rows, session.day)
    return [SheetLine(place, tuple(_eyes_of(place, lines))) for place in ordered]


def _eyes_of(place: Appointment, lines: Sequence[EyeLine]) -> list[EyeLine]:
    own = [
        line
        for line in lines
        if line.eye.patient_id == place.patient_id and place.eye_id in (None, line.eye.pk)
    ]
    return sorted(own, key=lambda line: line.side is Side.LEFT)


def _eye_lines(rows: Sequence[EyeStandingRow], day: date) -> list[EyeLine]:
    ids = [row.eye.pk for row in rows]
    operations, fills = _operations_before(ids, day), _fills_on(ids, day)
    return [_eye_line(row, operations.get(row.eye.pk), fills.get(row.eye.pk), day) for row in rows]


def _operations_before(eyes: Collection[int], day: date) -> dict[int, Operation]:
    """Of each eye, the operation that its follow-up counted from when the day began."""
    courses = Course.objects.filter(eye__in=eyes, anchor__lt=day).order_by("anchor", "id")
    with_operation = courses.select_related("operation").prefetch_related("operation__procedure_rows")
    return {course.eye_id: course.operation for course in with_operation}


def _fills_on(eyes: Collection[int], day: date) -> dict[int, FillFact]:
    """What was in each eye when the day began."""
    still_in = Q(ended_on__isnull=True) | Q(ended_on__gte=day)
    fills = Fill.objects.filter(still_in, eye__in=eyes, placed_on__lt=day).order_by("placed_on", "id")
    return {fill.eye_id: fill_fact(fill) for fill in fills}


def _eye_line(row: EyeStandingRow, operation: Operation | None, fill: FillFact | None, day: date) -> EyeLine:
    return EyeLine(
        eye=row.eye,
        since=time_since(operation.date, day) if operation else "",
        operation=_operation(operation) if operation else "No operation before this day.",
        tamponade=f"{fill.tamponade.label}, {_days((day - fill.placed_on).days)}" if fill else "",
        look_at=tuple(_look_at(row, fill, day)),
    )


def _operation(operation: Operation) -> str:
    procedures = sorted(str(row) for row in operation.procedure_rows.all())
    done = ", ".join(procedures) or Indication(operation.indication).label
    return f"{operation.date:%-d %b %Y}: {done}"


def _look_at(row: EyeStandingRow, fill: FillFact | None, day: date) -> Iterator[str]:
    yield from _planned_on(row, day)
    for lane in row.standing.lanes:
        if lane.standing is Standing.NEEDS_DECISION:
            yield f"To decide: {lane.next_step}"
    if fill is not None:
        yield _ASKED_OF[fill.tamponade.kind]


def _planned_on(row: EyeStandingRow, day: date) -> Iterator[str]:
    """What a place on this day serves, or served: a removal, then reviews."""
    planned = row.state.course.milestones_by(day)
    for milestone in sorted(planned, key=lambda each: each.lane is Lane.REVIEW):
        if _is_served(milestone, day):
            late = (day - milestone.closes).days
            yield f"{milestone.title}{f', {_days(late)} after its window' if late > 0 else ''}"


def _is_served(milestone: Milestone, day: date) -> bool:
    if milestone.lane is Lane.REMOVAL:
        return milestone.opens <= day and (milestone.is_unmet or milestone.met_on == day)
    return milestone.period_holds(day) and (milestone.is_unmet or milestone.met_on == day)


def _days(number: int) -> str:
    return f"{number} day" if number == 1 else f"{number} days"


@dataclass(frozen=True, slots=True)
class OpenSession:
    """A past session with places of which nobody has said what happened."""

    session: Session
    open_lines: int


def sessions_left_open(places: Iterable[Appointment]) -> list[OpenSession]:
    """The sessions of these places, the longest ago first. Needs the sessions at hand."""
    lines: defaultdict[int, list[Appointment]] = defaultdict(list)
    for place in places:
        lines[place.session_id].append(place)
    found = [OpenSession(held[0].session, len(held)) for held in lines.values()]
    return sorted(found, key=lambda row: (row.session.day, row.session.starts, row.session.pk))
