"""The active pathways as people read them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from followup.domain.dates.durations import Duration
from followup.domain.pathway.definition import Condition, MilestoneRule, PathwayDefinition
from followup.domain.words import Lane, Repeat
from followup.models import PathwayVersion
from followup.queries.facts import pathway_book


@dataclass(frozen=True, slots=True)
class RuleRow:
    title: str
    lane: str
    opens: str
    target: str
    closes: str
    look_at: str


@dataclass(frozen=True, slots=True)
class PathwayRow:
    pathway: PathwayDefinition
    applies: tuple[str, ...]
    """Each a condition in words, any of which is enough; empty for the fallback."""
    rules: tuple[RuleRow, ...]


def active_pathways() -> list[PathwayRow]:
    """In the order they are tried for a new course; the fallback comes last."""
    return [
        PathwayRow(pathway, tuple(map(_condition, pathway.applies)), tuple(_rules(pathway)))
        for pathway in pathway_book().active
    ]


def active_text(key: str) -> str | None:
    """The text of the version in force, None if there is no such pathway."""
    return PathwayVersion.objects.filter(key=key, active=True).values_list("text", flat=True).first()


def in_words(length: Duration) -> str:
    """P1Y2M is "1 year 2 months"."""
    parts = (("year", length.years), ("month", length.months), ("week", length.weeks), ("day", length.days))
    said = [f"{number} {unit}{'' if number == 1 else 's'}" for unit, number in parts if number]
    return " ".join(said) or "the same day"


def _rules(pathway: PathwayDefinition) -> Iterator[RuleRow]:
    for rule in pathway.milestone:
        yield _rule(rule)
    endless = pathway.endless
    if endless is not None:
        every = f"{in_words(endless.first)}, then every {in_words(endless.every)} without end"
        yield RuleRow(
            endless.title,
            Lane.REVIEW.label,
            _early(endless.early),
            every,
            _late(endless.late),
            endless.look_at,
        )


def _rule(rule: MilestoneRule) -> RuleRow:
    if rule.offset is not None:
        return RuleRow(
            rule.title,
            rule.lane.label,
            _early(rule.early),
            in_words(rule.offset),
            _late(rule.late),
            rule.look_at,
        )
    assert rule.opens is not None
    assert rule.closes is not None
    counted = "this fill" if rule.counts_from == "fill" else "the first insertion"
    return RuleRow(
        rule.title,
        rule.lane.label,
        in_words(rule.opens),
        f"Counted from {counted}",
        in_words(rule.closes),
        rule.look_at,
    )


def _early(length: Duration) -> str:
    return f"{in_words(length)} before" if length != Duration() else "On the target"


def _late(length: Duration) -> str:
    return f"{in_words(length)} after" if length != Duration() else "On the target"


def _condition(condition: Condition) -> str:
    """Everything that the condition asks, joined by "and"."""
    lists = (
        ("left in the eye", condition.tamponade),
        ("taken out", condition.removed),
        ("operated for", condition.indication),
        ("done", condition.procedure),
    )
    said = [f"{what}: {' or '.join(term.label for term in terms)}" for what, terms in lists if terms]
    said += [text for text, holds in _traits(condition) if holds]
    return " and ".join(said)


def _traits(condition: Condition) -> list[tuple[str, bool]]:
    return [
        ("repeat operation", condition.repeat is Repeat.REPEAT),
        ("first operation", condition.repeat is Repeat.FIRST),
        (
            f"axial length {condition.axial_length_at_least} mm or more",
            condition.axial_length_at_least is not None,
        ),
        (f"axial length below {condition.axial_length_below} mm", condition.axial_length_below is not None),
        ("staphyloma", condition.staphyloma is True),
        ("no staphyloma on record", condition.staphyloma is False),
        ("only eye", condition.only_eye is True),
        ("not an only eye", condition.only_eye is False),
        (f"aged {condition.age_at_least} or more", condition.age_at_least is not None),
        (f"younger than {condition.age_below}", condition.age_below is not None),
    ]
