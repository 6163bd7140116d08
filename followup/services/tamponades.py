"""What an operation says of tamponades must agree with itself and with what is on record in that eye."""

from __future__ import annotations

from collections.abc import Collection

from followup.domain.errors import Refused
from followup.domain.fills import Fill, fill_before
from followup.domain.words import Procedure, Tamponade, TamponadeKind
from followup.models import Operation
from followup.queries.facts import eye_histories

_TAKING_OUT = (Procedure.OIL_REMOVAL, Procedure.OIL_EXCHANGE)
_PUTTING_IN = (Procedure.OIL_INSERTION, Procedure.OIL_EXCHANGE)


def check_tamponades(operation: Operation, procedures: Collection[Procedure]) -> None:
    """Refused where procedures contradict the tamponade fields, or nothing is there to take out."""
    _check_procedures(operation, procedures)
    if operation.takes_out:
        _check_something_is_there(operation, procedures)


def _check_procedures(operation: Operation, procedures: Collection[Procedure]) -> None:
    taking = next((procedure for procedure in _TAKING_OUT if procedure in procedures), None)
    if taking and not operation.takes_out:
        raise Refused(
            f'"{taking.label}" takes a tamponade out. Mark it as taken out, or leave the procedure away.',
            field="takes_out",
            code="removal_takes_out",
        )
    putting = next((procedure for procedure in _PUTTING_IN if procedure in procedures), None)
    left_in = Tamponade(operation.tamponade_in)
    if putting and left_in.kind is not TamponadeKind.OIL:
        raise Refused(
            f'"{putting.label}" leaves oil in the eye, but the tamponade says "{left_in.label}". '
            "Correct one of the two.",
            field="tamponade_in",
            code="insertion_leaves_oil",
        )


def _check_something_is_there(operation: Operation, procedures: Collection[Procedure]) -> None:
    side, day = operation.eye.get_side_display(), f"{operation.date:%-d %b %Y}"
    inside = _inside_before(operation)
    if inside is None:
        raise Refused(
            f"Nothing is on record in the {side} eye on {day} that could be taken out. "
            "Check the side, or enter the operation that put it in.",
            field="takes_out",
            code="nothing_to_take_out",
        )
    speaks_of_oil = any(procedure in _TAKING_OUT for procedure in procedures)
    if speaks_of_oil and inside.tamponade.kind.leaves_by_itself:
        raise Refused(
            f"No oil is on record in the {side} eye on {day}: it holds {inside.tamponade.label} since "
            f"{inside.placed_on:%-d %b %Y}. Check the side, or enter the operation that put the oil in.",
            field="procedures",
            code="no_oil_to_take_out",
        )


def _inside_before(operation: Operation) -> Fill | None:
    history = eye_histories([operation.eye_id])[operation.eye_id]
    others = [fact for fact in history.operations if fact.id != operation.pk]
    return fill_before(others, history.exams, operation.date)
