"""Whether an eye is one that a cohort asks for."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from followup.domain.facts import EyeTraits
from followup.domain.outcome import index_operation
from followup.domain.words import Procedure, Tamponade, TamponadeKind
from followup.queries.cohort_choice import BuckleChoice, CohortChoice, TamponadeGroup
from followup.queries.cohort_facts import OperatedEye


def operation_matches(eye: OperatedEye, choice: CohortChoice) -> bool:
    """Whether the index operation and the eye are what was asked for, but for the axial length."""
    return all(_answers(eye, choice))


def length_matches(traits: EyeTraits, choice: CohortChoice) -> bool:
    length, least, below = traits.axial_length_mm, choice.axial_length_from, choice.axial_length_below
    if not choice.asks_length:
        return True
    if length is None:
        return False
    return (least is None or length >= float(least)) and (below is None or length < float(below))


def _answers(eye: OperatedEye, choice: CohortChoice) -> Iterator[bool]:
    """Question by question; an open question is a yes."""
    index = index_operation(eye.operations)
    if index is None:
        yield False
        return
    traits, detail = eye.traits, eye.details[index.id]
    yield choice.operated_from is None or index.date >= choice.operated_from
    yield choice.operated_to is None or index.date <= choice.operated_to
    yield not choice.indications or index.indication in choice.indications
    yield index.procedures.issuperset(choice.procedures)
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
