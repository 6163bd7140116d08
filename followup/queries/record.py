"""Every version of every fact of an eye, told from its rows and the history of their changes.

A change keeps the values it replaced, so walking the history back from the present row gives each earlier
version with the days on which it was held true. Constant query count.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from followup.domain.dates.zones import local_day
from followup.domain.facts import (
    AppointmentFact,
    AttemptFact,
    DecisionFact,
    ExamFact,
    EyeTraits,
    Known,
    OperationFact,
    ReportFact,
)
from followup.domain.record import EyeRecord
from followup.domain.words import (
    AppointmentState,
    CancelledBy,
    Channel,
    ContactResult,
    DecisionKind,
    Extent,
    Hole,
    Indication,
    Lane,
    Procedure,
    Repeat,
    Retina,
    Side,
    Tamponade,
    TamponadeSeen,
    YesNo,
)
from followup.models import (
    Appointment,
    Change,
    ContactAttempt,
    Decision,
    Exam,
    Eye,
    Operation,
    SymptomReport,
)
from followup.queries import facts
from followup.queries.chunks import in_chunks

_Values = dict[str, Any]
_Changes = Mapping[tuple[str, int], list[Change]]


def eye_records(eye_ids: Collection[int]) -> dict[int, EyeRecord]:
    """The record of each of these eyes, by eye id."""
    records: dict[int, EyeRecord] = {}
    for ids in in_chunks(eye_ids):
        records |= _records(ids)
    return records


def _records(ids: Collection[int]) -> dict[int, EyeRecord]:
    eyes = list(Eye.objects.filter(pk__in=ids).select_related("patient__site"))
    changes: defaultdict[tuple[str, int], list[Change]] = defaultdict(list)
    owners = {eye.patient_id for eye in eyes}
    for change in Change.objects.filter(patient_id__in=owners).order_by("at", "id"):
        if change.subject_id is not None:
            changes[change.subject, change.subject_id].append(change)
    histories = facts.eye_histories(ids)
    zones = {eye.patient_id: eye.patient.site.time_zone for eye in eyes}
    operations = _operations(ids, changes, zones)
    exams, decisions = _exams(ids, changes, zones), _decisions(ids, changes, zones)
    appointments, attempts = _appointments(eyes, changes, zones), _attempts(owners)
    reports = _reports(owners, changes, zones)
    return {
        eye.pk: EyeRecord(
            eye_id=eye.pk,
            traits=_traits(eye, changes),
            operations=tuple(sorted(operations[eye.pk], key=lambda op: (op.date, op.id))),
            exams=tuple(sorted(exams[eye.pk], key=lambda exam: (exam.day, exam.id))),
            appointments=tuple(appointments[eye.pk]),
            decisions=tuple(sorted(decisions[eye.pk], key=lambda made: (made.signed_on, made.id))),
            attempts=tuple(attempts[eye.patient_id]),
            reports=tuple(reports[eye.patient_id]),
            pinned=histories[eye.pk].pinned,
        )
        for eye in eyes
    }


def _versions(
    values: _Values, changes: list[Change], zone: str, ended: datetime | None = None
) -> Iterator[tuple[Known, _Values]]:
    """Each set of values with the days on which it was held true, the present one first."""
    until = local_day(ended, zone) if ended else None
    for change in reversed(changes):
        replaced = {name: change.before[name] for name in values if name in change.before}
        if all(values[name] == value for name, value in replaced.items()):
            continue
        since = local_day(change.at, zone)
        yield Known(since, until), dict(values)
        values = values | replaced
        until = since
    yield Known(_entered(changes, zone), until), values


def _entered(changes: list[Change], zone: str) -> date | None:
    """The day the record was entered; None where the history does not go back so far."""
    return local_day(changes[0].at, zone) if changes and not changes[0].before else None


def _day(value: Any) -> date | None:
    return date.fromisoformat(value) if isinstance(value, str) else value


def _traits(eye: Eye, changes: _Changes) -> tuple[EyeTraits, ...]:
    """Versions by the eye's own changes and by those of the person."""
    patient, zone = eye.patient, eye.patient.site.time_zone
    values = {
        "axial_length_mm": str(eye.axial_length_mm) if eye.axial_length_mm is not None else None,
        "staphyloma": eye.staphyloma,
        "only_eye": eye.only_eye,
        "birth_date": str(patient.birth_date) if patient.birth_date else None,
        "died_on": str(patient.died_on) if patient.died_on else None,
        "death_to_confirm": patient.death_to_confirm,
    }
    history = sorted(
        [*changes.get(("eye", eye.pk), []), *changes.get(("patient", patient.pk), [])],
        key=lambda change: (change.at, change.pk),
    )
    versions = [
        EyeTraits(
            side=Side(eye.side),
            axial_length_mm=float(held["axial_length_mm"]) if held["axial_length_mm"] is not None else None,
            staphyloma=YesNo(held["staphyloma"]),
            only_eye=held["only_eye"],
            birth_date=_day(held["birth_date"]),
            age_stated=patient.age_stated,
            died_on=_day(held["died_on"]),
            death_to_confirm=held["death_to_confirm"],
            known=known,
        )
        for known, held in _versions(values, history, zone)
    ]
    # The first version holds from the beginning: an eye has its traits before anybody enters them.
    versions[-1] = replace(versions[-1], known=Known(None, versions[-1].known.until))
    return tuple(reversed(versions))


def _operations(
    ids: Collection[int], changes: _Changes, zones: Mapping[int, str]
) -> defaultdict[int, list[OperationFact]]:
    found: defaultdict[int, list[OperationFact]] = defaultdict(list)
    rows = (
        Operation.objects.filter(eye_id__in=ids)
        .select_related("eye")
        .prefetch_related("procedure_rows")
        .order_by("date", "id")
    )
    for row in rows:
        values = {
            "date": str(row.date),
            "indication": row.indication,
            "procedures": sorted(made.procedure for made in row.procedure_rows.all()),
            "tamponade_in": row.tamponade_in,
            "takes_out": row.takes_out,
            "repeat": row.repeat,
            "extent": row.extent,
            "attached_at_end": row.attached_at_end,
            "restarts": row.restarts,
        }
        history, zone = changes.get(("operation", row.pk), []), zones[row.eye.patient_id]
        for known, held in _versions(values, history, zone, row.in_error_at):
            found[row.eye_id].append(_operation(row.pk, held, known))
    return found


def _operation(pk: int, held: _Values, known: Known) -> OperationFact:
    return OperationFact(
        id=pk,
        date=date.fromisoformat(held["date"]),
        indication=Indication(held["indication"]),
        procedures=frozenset(Procedure(code) for code in held["procedures"]),
        tamponade_in=Tamponade(held["tamponade_in"]),
        takes_out=held["takes_out"],
        repeat=Repeat(held["repeat"]),
        extent=Extent(held["extent"]),
        attached_at_end=YesNo(held["attached_at_end"]),
        restarts=held["restarts"],
        known=known,
    )


def _exams(
    ids: Collection[int], changes: _Changes, zones: Mapping[int, str]
) -> defaultdict[int, list[ExamFact]]:
    found: defaultdict[int, list[ExamFact]] = defaultdict(list)
    for row in Exam.objects.filter(eye_id__in=ids).select_related("visit").order_by("visit__day", "id"):
        visit, zone = row.visit, zones[row.visit.patient_id]
        values = {"retina": row.retina, "hole": row.hole, "tamponade_seen": row.tamponade_seen}
        entered = _entered(changes.get(("visit", visit.pk), []), zone)
        for known, held in _versions(values, changes.get(("exam", row.pk), []), zone, visit.in_error_at):
            since = known.since if known.since is not None else entered
            found[row.eye_id].append(
                ExamFact(
                    row.pk,
                    visit.pk,
                    visit.day,
                    Retina(held["retina"]),
                    Hole(held["hole"]),
                    TamponadeSeen(held["tamponade_seen"]),
                    Known(since, known.until),
                )
            )
    return found


def _decisions(
    ids: Collection[int], changes: _Changes, zones: Mapping[int, str]
) -> defaultdict[int, list[DecisionFact]]:
    found: defaultdict[int, list[DecisionFact]] = defaultdict(list)
    rows = Decision.objects.filter(eye_id__in=ids).select_related("visit", "eye").order_by("signed_on", "id")
    for row in rows:
        values = {"accepted_on": str(row.accepted_on) if row.accepted_on else None}
        zone = zones[row.eye.patient_id]
        for known, held in _versions(values, changes.get(("decision", row.pk), []), zone, row.undone_at):
            found[row.eye_id].append(
                DecisionFact(
                    id=row.pk,
                    kind=DecisionKind(row.kind),
                    signed_on=row.signed_on,
                    review_on=row.review_on,
                    accepted_on=_day(held["accepted_on"]),
                    visit_day=row.visit.day if row.visit else None,
                    milestone_key=row.milestone_key,
                    to_whom=row.to_whom,
                    operation_id=row.operation_id,
                    known=Known(known.since or local_day(row.recorded_at, zone), known.until),
                )
            )
    return found


def _appointments(
    eyes: Collection[Eye], changes: _Changes, zones: Mapping[int, str]
) -> defaultdict[int, list[AppointmentFact]]:
    by_patient: defaultdict[int, list[int]] = defaultdict(list)
    for eye in eyes:
        by_patient[eye.patient_id].append(eye.pk)
    found: defaultdict[int, list[AppointmentFact]] = defaultdict(list)
    for row in Appointment.objects.filter(patient_id__in=list(by_patient)).order_by("day", "id"):
        values = {"day": str(row.day), "state": row.state, "cancelled_by": row.cancelled_by}
        history, zone = changes.get(("appointment", row.pk), []), zones[row.patient_id]
        for known, held in _versions(values, history, zone):
            state = AppointmentState(held["state"])
            taken_back = state is AppointmentState.CANCELLED and held["cancelled_by"] == CancelledBy.CLINIC
            if not (state.awaits_outcome or state is AppointmentState.NOSHOW or taken_back):
                continue
            fact = AppointmentFact(
                row.pk,
                date.fromisoformat(held["day"]),
                Lane(row.lane),
                state,
                local_day(row.changed_at, zone) if taken_back else None,
                known,
            )
            for served in [row.eye_id] if row.eye_id else by_patient[row.patient_id]:
                found[served].append(fact)
    return found


def _attempts(owners: Collection[int]) -> defaultdict[int, list[AttemptFact]]:
    found: defaultdict[int, list[AttemptFact]] = defaultdict(list)
    for row in ContactAttempt.objects.filter(patient_id__in=owners).order_by("day", "id"):
        found[row.patient_id].append(
            AttemptFact(
                row.day, ContactResult(row.result), Channel(row.channel), row.next_step_on, Known(row.day)
            )
        )
    return found


def _reports(
    owners: Collection[int], changes: _Changes, zones: Mapping[int, str]
) -> defaultdict[int, list[ReportFact]]:
    found: defaultdict[int, list[ReportFact]] = defaultdict(list)
    for row in SymptomReport.objects.filter(patient_id__in=owners).order_by("day", "id"):
        values = {"answered_on": str(row.answered_on) if row.answered_on else None}
        history = changes.get(("symptomreport", row.pk), [])
        for known, held in _versions(values, history, zones[row.patient_id]):
            since = known.since or row.day
            found[row.patient_id].append(
                ReportFact(row.pk, row.day, _day(held["answered_on"]), Known(since, known.until))
            )
    return found
