"""The invented people, before anything is written: the same for a seed and a day, and sound on any day."""

from __future__ import annotations

from collections import Counter
from datetime import date, timedelta
from random import Random

import pytest

from followup.services.demo.events import Booked, Missed, Person
from followup.services.demo.facts import read_facts
from followup.services.demo.load import SEED
from followup.services.demo.scenario import build_people
from followup.services.demo.week import Week
from tests.builders import TODAY

FACTS = read_facts()


def people_on(today: date, seed: int = SEED) -> list[Person]:
    return build_people(Random(seed), FACTS, Week(FACTS.clinic.lists, today))


def test_the_same_seed_and_day_give_the_same_people() -> None:
    assert people_on(TODAY) == people_on(TODAY)
    assert people_on(TODAY, seed=SEED + 1) != people_on(TODAY)


ANY_DAY = [
    *(TODAY + timedelta(days=number) for number in range(7)),
    date(2028, 2, 29),
    date(2027, 3, 28),
    date(2026, 12, 31),
]


@pytest.mark.parametrize("today", ANY_DAY, ids=str)
def test_on_any_day_nothing_lies_ahead_and_no_list_is_overbooked(today: date) -> None:
    people = people_on(today)
    events = [event for person in people for event in person.events]
    assert {event.day > today for event in events} == {False}
    taken = Counter((event.on, event.lane) for event in events if isinstance(event, Booked))
    places = {"review": 0, "removal": 0}
    for fact in FACTS.clinic.lists:
        places["removal" if fact.kind == "theatre" else "review"] = fact.places
    assert all(held <= places[lane] for (_, lane), held in taken.items())


@pytest.mark.parametrize("today", ANY_DAY, ids=str)
def test_nobody_misses_a_visit_that_was_not_booked(today: date) -> None:
    for person in people_on(today):
        booked = {event.on for event in person.events if isinstance(event, Booked)}
        missed = {event.day for event in person.events if isinstance(event, Missed)}
        assert missed <= booked, person.record_number


def test_record_numbers_and_names_are_given_once() -> None:
    people = people_on(TODAY)
    assert len({person.record_number for person in people}) == len(people)
    assert len({(person.family_name, person.given_name) for person in people}) == len(people)
