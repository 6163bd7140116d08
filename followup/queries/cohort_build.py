"""From the facts of an eye to its row in a cohort: pure, so that a locked cohort can be counted anew."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from followup.domain.acuity.change import Reading
from followup.domain.dates.durations import Duration
from followup.domain.dates.workdays import age_on
from followup.domain.facts import ExamFact, EyeHistory, OperationFact
from followup.domain.fills import Fill
from followup.domain.outcome import Outcome, outcome_of
from followup.domain.words import Clock, Correction, Lens, Retina, TamponadeKind, TamponadeSeen
from followup.queries.cohort_codes import SurgeonCodes
from followup.queries.cohort_facts import Findings, OperatedEye, Removals, StoredReading, reading_of
from followup.queries.cohort_row import CohortRow, OilStay, Traits
from followup.queries.cohort_times import BEFORE_DAYS, LONGEST_GAS_DAYS, TIMES, nearness, place_of

NO_FINDINGS = Findings((), (), {})
REMOVAL_LIMIT = Duration(months=3)
"""Where no pathway planned the removal."""

_PREFERENCE = (
    Correction.BEST,
    Correction.HABITUAL,
    Correction.UNAIDED,
    Correction.UNKNOWN,
    Correction.PINHOLE,
)
"""Which reading of a visit stands for it. The pinhole is no best correction, so it comes last."""

_SEEN_IN_EYE = {
    TamponadeSeen.NONE: "",
    TamponadeSeen.BUBBLE: "gas",
    TamponadeSeen.OIL: "oil",
    TamponadeSeen.HEAVY_LIQUID: "heavy liquid",
}


def row_of(
    eye: OperatedEye, found: Findings, outcome: Outcome, planned: Removals, surgeons: SurgeonCodes
) -> CohortRow:
    """`outcome`: on the clock and of the event asked for."""
    index = outcome.index
    detail = eye.details[index.id]
    seen, sight = _at_times(found, index, outcome.fills)
    return CohortRow(
        eye_id=eye.eye_id,
        code=eye.code,
        patient_code=eye.patient_code,
        surgeon_code=surgeons.of(detail.surgeon),
        site=eye.site,
        index_date=index.date,
        date_precision=detail.precision,
        indication=index.indication,
        procedures=index.procedures,
        tamponade=index.tamponade_in,
        extent=index.extent,
        repeat=index.repeat,
        traits=_traits(eye, found, index.date),
        ending=outcome.ending,
        start=outcome.start,
        days=outcome.days,
        found_on=outcome.found_on,
        last_well=outcome.last_well,
        final=outcome.final,
        final_on=outcome.final_on,
        primary_success=outcome.primary_success,
        hole=outcome.hole,
        hole_primary=outcome.hole_primary,
        last_exam=outcome.last_exam,
        died_on=outcome.died_on,
        seen=seen,
        sight=sight,
        oil=_oil(eye, found, outcome, planned),
    )


def _traits(eye: OperatedEye, found: Findings, operated: date) -> Traits:
    told = eye.traits
    macula, lens = Retina.NOT_EXAMINED, Lens.NOT_EXAMINED
    for exam, its_lens in zip(found.exams, found.lenses, strict=True):
        if exam.day > operated:
            break
        macula = exam.retina if exam.retina.is_attached or exam.retina.is_detached else macula
        lens = its_lens if its_lens is not Lens.NOT_EXAMINED else lens
    born = told.birth_date
    return Traits(
        sex=eye.sex,
        side=told.side,
        age=age_on(born, operated) if born and born <= operated else told.age_stated,
        axial_length_mm=told.axial_length_mm,
        staphyloma=told.staphyloma,
        only_eye=told.only_eye,
        macula=macula,
        lens=lens,
    )


def _at_times(
    found: Findings, index: OperationFact, fills: Sequence[Fill]
) -> tuple[tuple[bool, ...], tuple[Reading | None, ...]]:
    """Whether the eye was examined at each time, and what was read before and at each."""
    seen = [False] * len(TIMES)
    before: ExamFact | None = None
    nearest: list[tuple[tuple[int, int], ExamFact] | None] = [None] * len(TIMES)
    for exam in found.exams:
        since = (exam.day - index.date).days
        is_read = exam.id in found.readings
        if since <= 0:
            before = exam if is_read and since >= -BEFORE_DAYS else before
            continue
        place = place_of(since)
        if place is None:
            continue
        seen[place] = True
        near = (nearness(since, place), exam)
        other = nearest[place]
        if is_read and (other is None or near[0] < other[0]):
            nearest[place] = near
    stored = _stored(found, before, None) if before else None
    wanted = stored.correction if stored else None
    sight = [reading_of(stored, in_eye(before, fills)) if before and stored else None]
    sight += [
        reading_of(_stored(found, one[1], wanted), in_eye(one[1], fills)) if one else None for one in nearest
    ]
    return tuple(seen), tuple(sight)


def _stored(found: Findings, exam: ExamFact, wanted: str | None) -> StoredReading:
    """The reading of a visit: with the correction wanted if there is one, else by preference."""
    readings = found.readings[exam.id]
    if len(readings) == 1:
        return readings[0]
    by_correction = {reading.correction: reading for reading in readings}
    order = (wanted, *_PREFERENCE) if wanted else _PREFERENCE
    return next(by_correction[correction] for correction in order if correction in by_correction)


def in_eye(exam: ExamFact, fills: Sequence[Fill]) -> str:
    """The tamponade in the eye at an exam, "" for none: as seen, else by what was put in and not taken out.

    Where nobody looked, air and gas count for the longest usual stay, and an unknown filling as unknown.
    """
    if exam.tamponade_seen is not TamponadeSeen.NOT_EXAMINED:
        return _SEEN_IN_EYE[exam.tamponade_seen]
    fill = next((one for one in reversed(fills) if _holds(one, exam.day)), None)
    if fill is None:
        return ""
    if fill.tamponade.kind.leaves_by_itself:
        return "gas" if (exam.day - fill.placed_on).days <= LONGEST_GAS_DAYS else ""
    return {TamponadeKind.OIL: "oil", TamponadeKind.HEAVY_LIQUID: "heavy liquid"}.get(
        fill.tamponade.kind, "unknown"
    )


def _holds(fill: Fill, day: date) -> bool:
    """An exam on the day of an operation comes before it."""
    return fill.placed_on < day and (fill.ended_on is None or day <= fill.ended_on)


def _oil(eye: OperatedEye, found: Findings, outcome: Outcome, planned: Removals) -> OilStay | None:
    stay = list(_first_oil(outcome.fills, outcome.index.date))
    if not stay:
        return None
    placed, out_on = stay[0], stay[-1].ended_on
    last = [placed.placed_on, eye.operations[-1].date, *(exam.day for exam in found.exams[-1:])]
    after = None
    if out_on is not None:
        history = EyeHistory(eye.eye_id, eye.traits, eye.operations, found.exams)
        after = outcome_of(history, clock=Clock.REMOVED)
    limit = planned.limits.get(placed.placed_by) or REMOVAL_LIMIT.add_to(placed.placed_on)
    return OilStay(
        placed_on=placed.placed_on,
        limit=limit,
        out_on=out_on,
        seen_until=max(last),
        after=after.ending if after else None,
        after_days=after.days if after else None,
        kept=planned.is_kept(eye.eye_id, placed.placed_on, limit),
    )


def _first_oil(fills: Sequence[Fill], since: date) -> Iterator[Fill]:
    """The fills of the first unbroken stay of oil that began or went on at the index operation or later."""
    first: date | None = None
    for fill in fills:
        if fill.placed_on >= since and fill.tamponade.kind is TamponadeKind.OIL:
            first = fill.first_placed_on if first is None else first
            if fill.first_placed_on == first:
                yield fill
