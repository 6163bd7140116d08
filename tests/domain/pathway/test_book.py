"""Which pathway an operation starts: each condition alone, the order of trial, and what a course keeps."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from followup.domain.errors import BadValue
from followup.domain.facts import EyeTraits, PathwayId, Pin
from followup.domain.pathway.book import PathwayBook, Start, applies, start_of
from followup.domain.pathway.definition import PathwayDefinition
from followup.domain.words import Indication, Procedure, Repeat, Side, TamponadeKind, YesNo
from tests.domain.histories import day, operation

ON = "2024-01-31"
CHILD = EyeTraits(birth_date=day("2008-02-01"))
"""Fifteen on the day of the operation, sixteen on the next."""


def pathway(key: str, **given: Any) -> PathwayDefinition:
    """Applies to any operation, has one review, unless told otherwise."""
    dull: dict[str, Any] = {
        "version": 1,
        "title": key,
        "source": "Common practice, no source.",
        "applies": [{}],
        "milestone": [{"key": "D1", "title": "Day 1", "offset": "P1D"}],
    }
    return PathwayDefinition.model_validate({"key": key, **dull, **given})


LAST = pathway("last", fallback=True, applies=[])


def start(**facts: Any) -> Start:
    """A vitrectomy with gas for a detachment, unless told otherwise."""
    given = start_of([operation(ON)], EyeTraits(), TamponadeKind.GAS, [])
    return replace(given, **facts)


def eye(**traits: Any) -> Start:
    return start(traits=EyeTraits(**traits))


CONDITIONS: list[tuple[dict[str, Any], Start, bool]] = [
    ({}, start(), True),
    ({"tamponade": ["air", "gas"]}, start(), True),
    ({"tamponade": ["air", "oil"]}, start(), False),
    ({"removed": ["oil"]}, start(removed=frozenset({TamponadeKind.OIL, TamponadeKind.GAS})), True),
    ({"removed": ["oil"]}, start(removed=frozenset({TamponadeKind.GAS})), False),
    ({"removed": ["oil"]}, start(), False),
    ({"indication": ["rrd", "pvr"]}, start(), True),
    ({"indication": ["pvr"]}, start(), False),
    ({"procedure": ["scleral_buckle", "vitrectomy"]}, start(), True),
    ({"procedure": ["scleral_buckle"]}, start(), False),
    ({"repeat": "first"}, start(), True),
    ({"repeat": "repeat"}, start(), False),
    ({"axial_length_at_least": 26.0}, eye(axial_length_mm=26.0), True),
    ({"axial_length_at_least": 26.0}, eye(axial_length_mm=25.99), False),
    ({"axial_length_at_least": 26.0}, eye(), False),
    ({"axial_length_below": 26.0}, eye(axial_length_mm=25.99), True),
    ({"axial_length_below": 26.0}, eye(axial_length_mm=26.0), False),
    ({"axial_length_below": 26.0}, eye(), False),
    ({"axial_length_at_least": 26.0, "axial_length_below": 30.0}, eye(axial_length_mm=30.0), False),
    ({"axial_length_at_least": 26.0, "axial_length_below": 30.0}, eye(axial_length_mm=28.0), True),
    ({"age_below": 16}, start(traits=CHILD), True),
    ({"age_below": 15}, start(traits=CHILD), False),
    ({"age_at_least": 15}, start(traits=CHILD), True),
    ({"age_at_least": 16}, start(traits=CHILD), False),
    ({"age_at_least": 16}, eye(age_stated=16), True),
    ({"age_at_least": 16}, replace(start(), traits=replace(CHILD, age_stated=70)), False),
    ({"age_at_least": 16}, eye(), False),
    ({"age_below": 1}, eye(birth_date=day(ON)), True),
    ({"age_below": 16}, eye(birth_date=day("2024-02-01")), False),
    ({"age_below": 16}, eye(birth_date=day("2024-02-01"), age_stated=15), True),
    ({"staphyloma": True}, eye(staphyloma=YesNo.YES), True),
    ({"staphyloma": True}, eye(staphyloma=YesNo.NO), False),
    ({"staphyloma": True}, eye(staphyloma=YesNo.UNKNOWN), False),
    ({"staphyloma": False}, eye(staphyloma=YesNo.YES), False),
    ({"staphyloma": False}, eye(staphyloma=YesNo.UNKNOWN), True),
    ({"only_eye": True}, eye(only_eye=True), True),
    ({"only_eye": True}, eye(only_eye=False), False),
    ({"only_eye": False}, eye(only_eye=True), False),
    ({"tamponade": ["gas"], "indication": ["pvr"]}, start(), False),
]


@pytest.mark.parametrize(("condition", "given", "holds"), CONDITIONS)
def test_all_that_a_condition_says_must_hold(condition: dict[str, Any], given: Start, holds: bool) -> None:
    assert applies(pathway("any", applies=[condition]), given) is holds


def test_one_condition_of_several_is_enough() -> None:
    either = pathway("any", applies=[{"indication": ["pvr"]}, {"tamponade": ["gas"]}])
    assert applies(either, start())
    assert not applies(LAST, start())


def test_what_several_operations_of_a_day_did_counts_together() -> None:
    buckle = operation(
        ON, procedures=frozenset({Procedure.SCLERAL_BUCKLE}), indication=Indication.PVR, repeat=Repeat.REPEAT
    )
    traits = EyeTraits(side=Side.LEFT)
    assert start_of([operation(ON), buckle], traits, TamponadeKind.OIL, [TamponadeKind.GAS]) == Start(
        day=day(ON),
        traits=traits,
        indications=frozenset({Indication.RRD, Indication.PVR}),
        procedures=frozenset({Procedure.VITRECTOMY, Procedure.SCLERAL_BUCKLE}),
        repeats=frozenset({Repeat.FIRST, Repeat.REPEAT}),
        tamponade=TamponadeKind.OIL,
        removed=frozenset({TamponadeKind.GAS}),
    )


def test_pathways_are_tried_by_priority_then_by_key_and_the_fallback_last() -> None:
    fallback = pathway("fallback", fallback=True, priority=9)
    low, high = pathway("low", priority=1), pathway("high", priority=5)
    also_high = pathway("also-high", priority=5)
    book = PathwayBook.of([fallback, low, high, also_high])
    assert book.active == (also_high, high, low, fallback)
    assert book.choose(start()) is also_high


def test_the_fallback_takes_what_no_other_applies_to() -> None:
    assert PathwayBook.of([LAST, pathway("pvr", applies=[{"indication": ["pvr"]}])]).choose(start()) is LAST


@pytest.mark.parametrize(("keys", "found"), [([], "none"), (["one"], ""), (["one", "two"], "one, two")])
def test_exactly_one_pathway_is_the_fallback(keys: list[str], found: str) -> None:
    given = [pathway("other"), *(pathway(key, fallback=True) for key in keys)]
    if not found:
        assert len(PathwayBook.of(given).active) == 2
        return
    with pytest.raises(BadValue) as refused:
        PathwayBook.of(given)
    assert refused.value.message == (
        "Exactly one active pathway must have fallback = true, so that no operation is left without one; "
        f"found {found}."
    )


OLD, NEW = pathway("plain", version=1), pathway("plain", version=2)
GONE = pathway("gone")


@pytest.mark.parametrize(
    ("pin", "chosen"),
    [
        (None, NEW),
        (Pin(PathwayId("plain", 1), start().fingerprint), OLD),
        (Pin(PathwayId("gone", 1), start().fingerprint), GONE),
        (Pin(PathwayId("plain", 1), "another"), OLD),
        (Pin(PathwayId("gone", 1), "another"), NEW),
    ],
    ids=[
        "a new course follows the active version",
        "a course keeps its version",
        "a course keeps a pathway that is no longer used",
        "a changed fact, the same pathway: the version is kept",
        "a changed fact, another pathway",
    ],
)
def test_a_course_keeps_its_version_until_a_fact_that_chose_it_changes(
    pin: Pin | None, chosen: PathwayDefinition
) -> None:
    book = PathwayBook.of([LAST, NEW], retired=[OLD, GONE])
    assert book.choose(start(), pin) is chosen


CHANGES: dict[str, Any] = {
    "day": day("2024-02-01"),
    "indications": frozenset({Indication.PVR}),
    "procedures": frozenset(),
    "repeats": frozenset({Repeat.REPEAT}),
    "tamponade": TamponadeKind.OIL,
    "removed": frozenset({TamponadeKind.OIL}),
}
TRAITS: dict[str, Any] = {
    "axial_length_mm": 24.0,
    "staphyloma": YesNo.NO,
    "only_eye": True,
    "age_stated": 40,
    "birth_date": day("1980-01-01"),
}


def test_every_fact_that_can_choose_a_pathway_changes_the_fingerprint() -> None:
    changed = [start(**{name: value}).fingerprint for name, value in CHANGES.items()]
    changed += [eye(**{name: value}).fingerprint for name, value in TRAITS.items()]
    assert len({start().fingerprint, *changed}) == 1 + len(CHANGES) + len(TRAITS)
    assert all(len(fingerprint) == 32 for fingerprint in changed)


def test_a_fact_that_chooses_nothing_leaves_the_fingerprint() -> None:
    assert eye(side=Side.LEFT, died_on=day("2024-09-01")).fingerprint == eye().fingerprint
