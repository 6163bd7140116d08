"""Histories for domain tests: short builders, ISO dates, the shipped pathways."""

from __future__ import annotations

from datetime import date
from itertools import count
from pathlib import Path
from typing import Any

from followup.domain.facts import (
    AppointmentFact,
    AttemptFact,
    DecisionFact,
    ExamFact,
    EyeHistory,
    EyeTraits,
    OperationFact,
    ReportFact,
)
from followup.domain.ladder import parse_ladder
from followup.domain.pathway.book import PathwayBook
from followup.domain.pathway.definition import parse_pathway
from followup.domain.pathway.planner import plan_eye
from followup.domain.standing import EyeStanding, Limits, standing_on, state_of
from followup.domain.words import (
    AppointmentState,
    Channel,
    ContactResult,
    DecisionKind,
    Indication,
    Lane,
    Procedure,
    Tamponade,
)

PATHWAYS = Path(__file__).parents[2] / "fixtures" / "pathways"
BOOK = PathwayBook.of(parse_pathway(path.read_text(), path.name) for path in sorted(PATHWAYS.glob("*.toml")))

LADDER = parse_ladder((PATHWAYS.parent / "ladder.toml").read_text(), "ladder.toml")
LIMITS = Limits(LADDER)
STEPS = (Channel.PHONE, Channel.PHONE, Channel.TEXT, Channel.LETTER, Channel.REFERRER)
_ids = count(1)


def day(text: str) -> date:
    return date.fromisoformat(text)


def operation(on: str, **facts: Any) -> OperationFact:
    """A vitrectomy with SF6 gas for a detachment, unless told otherwise."""
    dull: dict[str, Any] = {
        "indication": Indication.RRD,
        "procedures": frozenset({Procedure.VITRECTOMY}),
        "tamponade_in": Tamponade.SF6,
    }
    return OperationFact(id=next(_ids), date=day(on), **dull | facts)


def oil_in(on: str, **facts: Any) -> OperationFact:
    return operation(on, **{"tamponade_in": Tamponade.OIL_1000} | facts)


def oil_out(on: str, **facts: Any) -> OperationFact:
    dull: dict[str, Any] = {
        "indication": Indication.TAMPONADE_REMOVAL,
        "procedures": frozenset({Procedure.OIL_REMOVAL}),
        "tamponade_in": Tamponade.NONE,
        "takes_out": True,
    }
    return operation(on, **dull | facts)


def exam(on: str, **facts: Any) -> ExamFact:
    number = next(_ids)
    return ExamFact(id=number, visit_id=number, day=day(on), **facts)


def place(
    on: str, lane: Lane = Lane.REVIEW, state: AppointmentState = AppointmentState.BOOKED
) -> AppointmentFact:
    return AppointmentFact(next(_ids), day(on), lane, state)


def signed(kind: DecisionKind, on: str, **facts: Any) -> DecisionFact:
    for name in ("review_on", "accepted_on", "visit_day"):
        if isinstance(facts.get(name), str):
            facts[name] = day(facts[name])
    return DecisionFact(id=next(_ids), kind=kind, signed_on=day(on), **facts)


def attempt(
    on: str,
    result: ContactResult = ContactResult.NO_ANSWER,
    channel: Channel = Channel.PHONE,
    next_step_on: str = "",
) -> AttemptFact:
    return AttemptFact(day(on), result, channel, day(next_step_on) if next_step_on else None)


def in_vain(*days: str) -> tuple[AttemptFact, ...]:
    """Attempts without an answer, step by step up the usual ladder; one a step at most."""
    return tuple(attempt(on, channel=channel) for on, channel in zip(days, STEPS, strict=False))


def taken_back(on: str, place_on: str = "") -> AppointmentFact:
    """A place that the clinic cancelled."""
    return AppointmentFact(
        next(_ids), day(place_on or on), Lane.REVIEW, AppointmentState.CANCELLED, cancelled_on=day(on)
    )


def report(on: str, answered_on: str = "") -> ReportFact:
    return ReportFact(next(_ids), day(on), day(answered_on) if answered_on else None)


def history(*facts: object, **traits: Any) -> EyeHistory:
    """The history of these facts, in whatever order they come."""

    def of(kind: type) -> tuple[Any, ...]:
        return tuple(fact for fact in facts if isinstance(fact, kind))

    return EyeHistory(
        eye_id=1,
        traits=EyeTraits(**traits),
        operations=tuple(sorted(of(OperationFact), key=lambda op: (op.date, op.id))),
        exams=tuple(sorted(of(ExamFact), key=lambda seen: (seen.day, seen.id))),
        appointments=of(AppointmentFact),
        decisions=tuple(sorted(of(DecisionFact), key=lambda made: (made.signed_on, made.id))),
        attempts=tuple(sorted(of(AttemptFact), key=lambda made: made.day)),
        reports=of(ReportFact),
    )


def standing(told: EyeHistory, on: str | date, limits: Limits = LIMITS) -> EyeStanding:
    """Where the eye stands on a day, from what had happened by then."""
    asked = day(on) if isinstance(on, str) else on
    known = told.until(asked)
    state = state_of(known, plan_eye(known, BOOK))
    assert state is not None
    return standing_on(state, asked, limits)
