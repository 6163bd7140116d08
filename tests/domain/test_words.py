"""What each word of the trade means to the rules: every member, so that a new one must be thought about."""

from __future__ import annotations

from collections.abc import Callable
from enum import Enum

import pytest

from followup.domain.words import (
    AppointmentState,
    ContactResult,
    DecisionKind,
    Hole,
    Procedure,
    Retina,
    Side,
    Standing,
    Tamponade,
    TamponadeKind,
    Term,
)

MEANINGS: list[tuple[str, type[Term], Callable[..., bool], str]] = [
    (
        "retinal surgery",
        Procedure,
        lambda term: term.is_retinal,
        "vitrectomy membrane_peel ilm_peel ilm_flap retinectomy endolaser cryotherapy scleral_buckle "
        "macular_buckle buckle_removal gas_injection oil_insertion oil_removal oil_exchange",
    ),
    ("must come out", TamponadeKind, lambda term: term.must_come_out, "oil heavy_liquid"),
    ("leaves by itself", TamponadeKind, lambda term: term.leaves_by_itself, "air gas"),
    ("attached", Retina, lambda term: term.is_attached, "attached peripheral_fluid"),
    ("detached", Retina, lambda term: term.is_detached, "detached_macula_on detached_macula_off"),
    ("hole closed", Hole, lambda term: term.is_closed, "closed closed_defect"),
    ("hole open", Hole, lambda term: term.is_open, "flat_open open"),
    ("awaits an outcome", AppointmentState, lambda term: term.awaits_outcome, "booked arrived"),
    (
        "holds a place",
        AppointmentState,
        lambda term: term.holds_place,
        "booked arrived fulfilled noshow",
    ),
    ("closes the eye", DecisionKind, lambda term: term.closes, "discharge transfer lost refused died"),
    (
        "somebody was reached",
        ContactResult,
        lambda term: term.reached,
        "will_come call_back refused symptoms",
    ),
]


@pytest.mark.parametrize(("words", "means", "codes"), [m[1:] for m in MEANINGS], ids=[m[0] for m in MEANINGS])
def test_the_words_that_mean_it_are_these_and_no_others(
    words: type[Term], means: Callable[..., bool], codes: str
) -> None:
    assert [term.value for term in words if means(term)] == codes.split()


def test_every_tamponade_is_of_a_kind() -> None:
    assert {agent.value: agent.kind.value for agent in Tamponade} == {
        "none": "none",
        "air": "air",
        "sf6": "gas",
        "c2f6": "gas",
        "c3f8": "gas",
        "gas": "gas",
        "oil_1000": "oil",
        "oil_5000": "oil",
        "oil": "oil",
        "heavy_oil": "oil",
        "heavy_liquid": "heavy_liquid",
        "unknown": "unknown",
    }


def test_each_eye_has_its_fellow() -> None:
    assert (Side.RIGHT.fellow, Side.LEFT.fellow) == (Side.LEFT, Side.RIGHT)


def test_standings_are_named_most_pressing_first() -> None:
    assert Standing.codes() == ["needs_decision", "overdue", "to_book", "booked", "waiting", "closed"]


def test_a_form_offers_codes_with_labels_in_the_order_written() -> None:
    assert Side.choices() == [("right", "RIGHT"), ("left", "LEFT")]


def test_no_label_stands_for_two_codes_of_one_list() -> None:
    for words in Term.__subclasses__():
        assert issubclass(words, Enum)
        labels = [term.label for term in words]
        assert len(set(labels)) == len(labels)
        assert all(labels)
