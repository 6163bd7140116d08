"""From rows to the facts that the domain reasons on: the one place that does it. Constant query count."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from itertools import chain
from typing import Any, TypeAlias

from django.db.models import Q, QuerySet

from followup.domain.dates.zones import local_day
from followup.domain.errors import Refused
from followup.domain.facts import (
    AppointmentFact,
    AttemptFact,
    DecisionFact,
    ExamFact,
    EyeHistory,
    EyeTraits,
    OperationFact,
    PathwayId,
    Pin,
    ReportFact,
)
from followup.domain.pathway.book import PathwayBook
from followup.domain.pathway.definition import PathwayDefinition, accepted_pathway
from followup.domain.words import (
    AppointmentState,
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
    ContactAttempt,
    Course,
    Decision,
    Exam,
    Eye,
    Operation,
    OperationProcedure,
    PathwayVersion,
    SymptomReport,
)
from followup.queries.chunks import in_chunks

SomeEyes: TypeAlias = QuerySet[Eye, Any]
"""A query of eye ids, for sites with more eyes than a database takes parameters."""

TOLD = Q(state__in=["booked", "arrived", "noshow"]) | Q(state="cancelled", cancelled_by="clinic")
"""The places that a history tells of."""


def pathway_book() -> PathwayBook:
    """All pathway versions, the active ones in the order they are tried. Raises Refused if none is loaded."""
    active: list[PathwayDefinition] = []
    retired: list[PathwayDefinition] = []
    for row in PathwayVersion.objects.order_by("key", "version"):
        (active if row.active else retired).append(accepted_pathway(row.text))
    if not active:
        raise Refused("No pathway is loaded, so nothing can be planned. Run manage.py load_pathways.")
    return PathwayBook.of(active, retired)


def eye_histories(eye_ids: Collection[int]) -> dict[int, EyeHistory]:
    """All facts of each of these eyes, by eye id."""
    histories: dict[int, EyeHistory] = {}
    for ids in in_chunks(eye_ids):
        histories |= _histories(ids)
    return histories


def _histories(ids: Collection[int]) -> dict[int, EyeHistory]:
    eyes = list(Eye.objects.filter(pk__in=ids).select_related("patient"))
    operations, exams, decisions = _operations(ids), _exams(ids), decision_facts(ids)
    appointments = appointment_facts(eyes, ids)
    attempts, reports, pinned = attempt_facts(ids), report_facts(ids), _pinned(ids, decisions)
    return {
        eye.pk: EyeHistory(
            eye_id=eye.pk,
            traits=traits_of(eye),
            operations=tuple(operations[eye.pk]),
            exams=tuple(exams[eye.pk]),
            appointments=tuple(appointments[eye.pk]),
            decisions=tuple(decisions[eye.pk]),
            attempts=tuple(attempts[eye.patient_id]),
            reports=tuple(reports[eye.patient_id]),
            pinned=pinned[eye.pk],
        )
        for eye in eyes
    }


def traits_of(eye: Eye) -> EyeTraits:
    """Needs the eye's patient at hand."""
    patient = eye.patient
    return EyeTraits(
        side=Side(eye.side),
        axial_length_mm=float(eye.axial_length_mm) if eye.axial_length_mm is not None else None,
        staphyloma=YesNo(eye.staphyloma),
        only_eye=eye.only_eye,
        birth_date=patient.birth_date,
        age_stated=patient.age_stated,
        died_on=patient.died_on,
        death_to_confirm=patient.death_to_confirm,
    )


def _operations(ids: Collection[int]) -> defaultdict[int, list[OperationFact]]:
    procedures: defaultdict[int, set[Procedure]] = defaultdict(set)
    rows = OperationProcedure.objects.filter(operation__eye_id__in=ids).values_list(
        "operation_id", "procedure"
    )
    for operation_id, procedure in rows:
        procedures[operation_id].add(Procedure(procedure))
    found: defaultdict[int, list[OperationFact]] = defaultdict(list)
    for row in Operation.objects.filter(eye_id__in=ids, in_error=False).order_by("date", "id"):
        found[row.eye_id].append(
            OperationFact(
                id=row.pk,
                date=row.date,
                indication=Indication(row.indication),
                procedures=frozenset(procedures[row.pk]),
                tamponade_in=Tamponade(row.tamponade_in),
                takes_out=row.takes_out,
                repeat=Repeat(row.repeat),
                extent=Extent(row.extent),
                attached_at_end=YesNo(row.attached_at_end),
                restarts=row.restarts,
            )
        )
    return found


def _exams(ids: Collection[int]) -> defaultdict[int, list[ExamFact]]:
    rows = (
        Exam.objects.filter(eye_id__in=ids, visit__in_error=False)
        .order_by("visit__day", "id")
        .values_list("eye_id", "id", "visit_id", "visit__day", "retina", "hole", "tamponade_seen")
    )
    found: defaultdict[int, list[ExamFact]] = defaultdict(list)
    for eye_id, pk, visit_id, day, retina, hole, tamponade in rows:
        found[eye_id].append(
            ExamFact(pk, visit_id, day, Retina(retina), Hole(hole), TamponadeSeen(tamponade))
        )
    return found


def decision_facts(eyes: Collection[int] | SomeEyes) -> defaultdict[int, list[DecisionFact]]:
    """Decisions that stand, in the order they take effect, by eye id. `eyes`: ids, or a query of them."""
    rows = (
        Decision.objects.filter(eye_id__in=eyes, undone_at__isnull=True)
        .select_related("visit")
        .order_by("signed_on", "id")
    )
    found: defaultdict[int, list[DecisionFact]] = defaultdict(list)
    for row in rows:
        found[row.eye_id].append(
            DecisionFact(
                id=row.pk,
                kind=DecisionKind(row.kind),
                signed_on=row.signed_on,
                review_on=row.review_on,
                accepted_on=row.accepted_on,
                visit_day=row.visit.day if row.visit else None,
                milestone_key=row.milestone_key,
                to_whom=row.to_whom,
                operation_id=row.operation_id,
            )
        )
    return found


def appointment_facts(
    eyes: Iterable[Eye], wanted: Collection[int] | SomeEyes
) -> defaultdict[int, list[AppointmentFact]]:
    """Places that await an outcome, were not attended, or were taken back by the clinic, by eye id.

    A review sees both eyes of the person, theatre one eye.

    `wanted`: the ids of the eyes, or a query of them.
    """
    by_patient: defaultdict[int, list[int]] = defaultdict(list)
    for eye in eyes:
        by_patient[eye.patient_id].append(eye.pk)
    owners = Eye.objects.filter(pk__in=wanted).values("patient_id")
    rows = (
        Appointment.objects.filter(TOLD, patient_id__in=owners)
        .order_by("day", "id")
        .values_list(
            "id", "patient_id", "eye_id", "day", "lane", "state", "changed_at", "patient__site__time_zone"
        )
    )
    found: defaultdict[int, list[AppointmentFact]] = defaultdict(list)
    for pk, patient_id, eye_id, day, lane, code, changed_at, zone in rows:
        state = AppointmentState(code)
        taken_back = local_day(changed_at, zone) if state is AppointmentState.CANCELLED else None
        fact = AppointmentFact(pk, day, Lane(lane), state, taken_back)
        for served in [eye_id] if eye_id else by_patient[patient_id]:
            found[served].append(fact)
    return found


def attempt_facts(eyes: Collection[int] | SomeEyes) -> defaultdict[int, list[AttemptFact]]:
    """Attempts to reach the owners of these eyes, by patient id. `eyes`: ids, or a query of them."""
    owners = Eye.objects.filter(pk__in=eyes).values("patient_id")
    rows = (
        ContactAttempt.objects.filter(patient_id__in=owners)
        .order_by("day", "id")
        .values_list("patient_id", "day", "result", "channel", "next_step_on")
    )
    found: defaultdict[int, list[AttemptFact]] = defaultdict(list)
    for patient_id, day, result, channel, next_step_on in rows:
        found[patient_id].append(AttemptFact(day, ContactResult(result), Channel(channel), next_step_on))
    return found


def report_facts(eyes: Collection[int] | SomeEyes) -> defaultdict[int, list[ReportFact]]:
    """New symptoms that the owners of these eyes told of, by patient id. `eyes`: ids, or a query of them."""
    owners = Eye.objects.filter(pk__in=eyes).values("patient_id")
    rows = SymptomReport.objects.filter(patient_id__in=owners).order_by("day", "id")
    found: defaultdict[int, list[ReportFact]] = defaultdict(list)
    for row in rows:
        found[row.patient_id].append(ReportFact(row.pk, row.day, row.answered_on))
    return found


def _pinned(
    ids: Collection[int], decisions: Mapping[int, Sequence[DecisionFact]]
) -> defaultdict[int, dict[int, Pin]]:
    signed = {made.operation_id for made in chain.from_iterable(decisions.values()) if made.operation_id}
    rows = Course.objects.filter(eye_id__in=ids).values_list(
        "eye_id", "operation_id", "pathway__key", "pathway__version", "chosen_for"
    )
    found: defaultdict[int, dict[int, Pin]] = defaultdict(dict)
    for eye_id, operation_id, key, version, chosen_for in rows:
        found[eye_id][operation_id] = Pin(PathwayId(key, version), chosen_for, operation_id in signed)
    return found
