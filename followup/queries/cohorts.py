"""A cohort: the eyes whose index operation an audit asks about, one row an eye. Constant query count.

Rows carry codes instead of names. A code is a keyed hash, stable as long as the installation keeps its
secret key, and tells nothing of the record number, of the order of entry, or of the other eye.
"""

from __future__ import annotations

import base64
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from django.db.models import QuerySet
from django.utils.crypto import salted_hmac

from followup.domain.facts import EyeHistory, EyeTraits, OperationFact
from followup.domain.outcome import Ending, FinalState, Outcome, index_operation, outcome_of
from followup.domain.words import (
    Clock,
    DatePrecision,
    Indication,
    Procedure,
    Tamponade,
    TamponadeKind,
)
from followup.models import Eye, Operation, Site
from followup.queries.cohort_choice import BuckleChoice, CohortChoice, TamponadeGroup
from followup.queries.facts import eye_histories
from followup.queries.standing import operated_eyes

_CODE_LENGTH = 12
"""Letters and digits of a code: 60 bits, so that two of a million eyes hardly ever share one."""


@dataclass(frozen=True, slots=True)
class CohortRow:
    """One eye on one clock, as known on the lock date. The days are whole days since `start`."""

    code: str
    patient_code: str
    surgeon_code: str
    """Empty where no surgeon is on record."""
    index_date: date
    date_precision: DatePrecision
    indication: Indication
    tamponade: Tamponade
    ending: Ending
    start: date | None
    days: int | None
    """To the event, or until last seen without it; None for an eye that is not in the curve."""
    found_on: date | None
    last_well: date | None
    final: FinalState
    final_on: date | None
    primary_success: bool | None
    last_exam: date | None
    died_on: date | None

    @property
    def recurred(self) -> bool:
        return self.ending is Ending.RECURRED

    @property
    def in_curve(self) -> bool:
        return self.days is not None


@dataclass(frozen=True, slots=True)
class Cohort:
    """The rows asked for, in the order of their codes, and what they were drawn from."""

    choice: CohortChoice
    rows: tuple[CohortRow, ...]
    from_index: tuple[CohortRow, ...]
    """The same eyes on the clock of the index operation."""
    operated_eyes: int
    """Operated on at the site by the lock date."""
    operated_patients: int
    length_unknown: int
    """Eyes left out for want of an axial length alone."""


def read_cohort(choice: CohortChoice) -> Cohort:
    """Every eye of the site whose index operation, as known on the lock date, matches."""
    operated = _operated_by(choice)
    candidates = _candidates(operated, choice)
    owners = dict(candidates.values_list("pk", "patient_id"))
    details = _details(candidates)
    known = [history.until(choice.lock) for history in eye_histories(owners).values()]
    asked = [history for history in known if _operation_matches(history, details, choice)]
    in_cohort = [history for history in asked if _is_long_enough(history.traits, choice)]

    def on(clock: Clock) -> tuple[CohortRow, ...]:
        outcomes = (outcome_of(history, clock=clock, event=choice.event) for history in in_cohort)
        rows = (_row(outcome, owners, details) for outcome in outcomes if outcome)
        return tuple(sorted(rows, key=lambda row: row.code))

    return Cohort(
        choice=choice,
        rows=on(choice.clock),
        from_index=on(Clock.INDEX),
        operated_eyes=operated.count(),
        operated_patients=operated.order_by().values("patient_id").distinct().count(),
        length_unknown=sum(_lacks_length(history.traits, choice) for history in asked),
    )


def cohort_rows(choice: CohortChoice) -> tuple[CohortRow, ...]:
    """One row for each eye of the cohort, in the order of their codes."""
    return read_cohort(choice).rows


def _operated_by(choice: CohortChoice) -> QuerySet[Eye]:
    """Eyes of the site operated on by the lock date."""
    site = Site.objects.get(pk=choice.site_id)
    done = Operation.objects.filter(in_error=False, date__lte=choice.lock)
    return operated_eyes(site).filter(pk__in=done.values("eye_id"))


def surgeons_at(site: Site) -> list[tuple[str, str]]:
    """Who operated at this site, as pairs of the value to choose by and the name, in the order of names."""
    found = (
        Operation.objects.filter(eye__patient__site=site, in_error=False)
        .exclude(surgeon=None, surgeon_name="")
        .order_by()
        .values_list(
            "surgeon_id", "surgeon_name", "surgeon__first_name", "surgeon__last_name", "surgeon__username"
        )
        .distinct()
    )
    pairs = {
        _surgeon_key(pk, typed): (f"{first} {last}".strip() or username) if pk else typed
        for pk, typed, first, last, username in found
    }
    return sorted(pairs.items(), key=lambda pair: (pair[1].casefold(), pair[0]))


class _Detail(NamedTuple):
    """What the record of an operation holds beyond the facts that the rules need."""

    surgeon: str
    precision: DatePrecision


def _candidates(operated: QuerySet[Eye], choice: CohortChoice) -> QuerySet[Eye]:
    """Eyes with any operation in the dates asked for: the index operation of the others cannot be."""
    window = Operation.objects.filter(in_error=False, date__lte=choice.operated_to or choice.lock)
    if choice.operated_from:
        window = window.filter(date__gte=choice.operated_from)
    return operated.filter(pk__in=window.values("eye_id")).order_by()


def _details(eyes: QuerySet[Eye]) -> dict[int, _Detail]:
    rows = Operation.objects.filter(eye__in=eyes.values("pk"), in_error=False)
    return {
        pk: _Detail(_surgeon_key(surgeon_id, typed), DatePrecision(precision))
        for pk, surgeon_id, typed, precision in rows.values_list(
            "pk", "surgeon_id", "surgeon_name", "date_precision"
        )
    }


def _surgeon_key(staff_id: int | None, typed: str) -> str:
    """The same for a member of staff whatever name was typed beside them; empty for nobody."""
    if staff_id:
        return f"staff:{staff_id}"
    return f"name:{typed}" if typed else ""


def _operation_matches(history: EyeHistory, details: dict[int, _Detail], choice: CohortChoice) -> bool:
    """Whether the index operation and the eye are what was asked for, but for the axial length."""
    index = index_operation(history.operations)
    return index is not None and all(_answers(index, details[index.id], history.traits, choice))


def _answers(
    index: OperationFact, detail: _Detail, traits: EyeTraits, choice: CohortChoice
) -> Iterator[bool]:
    """Question by question; an open question is a yes."""
    yield choice.operated_from is None or index.date >= choice.operated_from
    yield choice.operated_to is None or index.date <= choice.operated_to
    yield not choice.indications or index.indication in choice.indications
    yield choice.tamponade is None or _is_tamponade(index.tamponade_in, choice.tamponade)
    yield not choice.surgeon or detail.surgeon == choice.surgeon
    yield choice.repeat in (None, index.repeat)
    yield choice.buckle is None or _is_buckle(index.procedures, choice.buckle)
    yield choice.extent in (None, index.extent)
    yield choice.only_eye in (None, traits.only_eye)
    yield choice.staphyloma in (None, traits.staphyloma)


def _is_tamponade(agent: Tamponade, asked: Tamponade | TamponadeGroup) -> bool:
    if asked is TamponadeGroup.ANY_GAS:
        return agent.kind is TamponadeKind.GAS
    if asked is TamponadeGroup.ANY_OIL:
        return agent.kind is TamponadeKind.OIL
    return agent is asked


def _is_buckle(procedures: Collection[Procedure], asked: BuckleChoice) -> bool:
    scleral, macular = Procedure.SCLERAL_BUCKLE in procedures, Procedure.MACULAR_BUCKLE in procedures
    return {
        BuckleChoice.SCLERAL: scleral,
        BuckleChoice.MACULAR: macular,
        BuckleChoice.WITHOUT: not scleral and not macular,
    }[asked]


def _is_long_enough(traits: EyeTraits, choice: CohortChoice) -> bool:
    least, length = choice.axial_length_from, traits.axial_length_mm
    return least is None or (length is not None and length >= float(least))


def _lacks_length(traits: EyeTraits, choice: CohortChoice) -> bool:
    return choice.axial_length_from is not None and traits.axial_length_mm is None


def _row(outcome: Outcome, owners: dict[int, int], details: dict[int, _Detail]) -> CohortRow:
    detail = details[outcome.index.id]
    return CohortRow(
        code=_code("E", "eye", str(outcome.eye_id)),
        patient_code=_code("P", "patient", str(owners[outcome.eye_id])),
        surgeon_code=_code("S", "surgeon", detail.surgeon) if detail.surgeon else "",
        index_date=outcome.index.date,
        date_precision=detail.precision,
        indication=outcome.index.indication,
        tamponade=outcome.index.tamponade_in,
        ending=outcome.ending,
        start=outcome.start,
        days=outcome.days,
        found_on=outcome.found_on,
        last_well=outcome.last_well,
        final=outcome.final,
        final_on=outcome.final_on,
        primary_success=outcome.primary_success,
        last_exam=outcome.last_exam,
        died_on=outcome.died_on,
    )


def _code(letter: str, kind: str, name: str) -> str:
    """A letter and twelve more, never a number to a spreadsheet."""
    digest = salted_hmac(f"followup.audit.{kind}", name, algorithm="sha256").digest()
    return letter + base64.b32encode(digest).decode()[:_CODE_LENGTH]
