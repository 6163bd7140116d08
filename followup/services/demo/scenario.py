"""The people of the demo clinic and all that happened to them, from a seeded random source and today."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from decimal import Decimal
from random import Random

from followup.services.demo.courses import live
from followup.services.demo.events import Booked, Event, Missed, Person, Seen, Traits
from followup.services.demo.facts import DemoFacts, Kind, Names
from followup.services.demo.fates import meet_fate
from followup.services.demo.stories import tell
from followup.services.demo.week import Week

YEARS = 3
_YOUNGEST_CASE_DAYS = 4


def build_people(rng: Random, facts: DemoFacts, week: Week) -> list[Person]:
    """Everybody, the hand-written stories first. The same seed and day give the same people."""
    people = [tell(story, number, _own(rng), week) for number, story in enumerate(facts.stories, 1)]
    kinds = list(_kinds(facts))
    rng.shuffle(kinds)
    taken = {(person.family_name, person.given_name) for person in people}
    for place, (kind, sides) in enumerate(kinds):
        person = _person(rng, facts.names, kind, sides, week.today, len(people) + 1, taken)
        _live(person, kind, _own(rng), week, first=_operation_day(rng, place, len(kinds), week))
        people.append(person)
    for person in people:
        person.events = merged(person.events)
    return people


def _own(rng: Random) -> Random:
    """A source for one person alone, so that nobody's course depends on how far that of another has come."""
    return Random(rng.getrandbits(64))


def _kinds(facts: DemoFacts) -> Iterator[tuple[Kind, int]]:
    """One kind and number of eyes for each person."""
    for kind in facts.kinds:
        yield from ((kind, 2) for _ in range(kind.pairs))
        yield from ((kind, 1) for _ in range(kind.eyes - 2 * kind.pairs))


def _operation_day(rng: Random, place: int, places: int, week: Week) -> date:
    """Spread over the years, more in the first of them; most on the theatre's day, the urgent ones on any."""
    span = YEARS * 365 - _YOUNGEST_CASE_DAYS - 8
    ago = _YOUNGEST_CASE_DAYS + round(span * ((place + rng.random()) / places) ** 0.75)
    day = week.today - timedelta(days=ago)
    return week.until_day(day, "removal") if rng.random() < 0.65 else day


def _person(
    rng: Random, names: Names, kind: Kind, sides: int, today: date, number: int, taken: set[tuple[str, str]]
) -> Person:
    sex = rng.choice(("female", "male"))
    family, given = _free_name(rng, names, sex, taken)
    age = rng.randint(*kind.ages)
    child = age < 18
    return Person(
        record_number=f"VB{20000 + 7 * number:06}",
        family_name=family,
        given_name=given,
        sex=sex,
        # Ages are those at the first operation, at most the clinic's years ago.
        birth_date=today - timedelta(days=round((age + YEARS) * 365.25) + rng.randint(0, 364)),
        phone=f"07700 900{rng.randint(0, 999):03}",
        email=f"{given}.{family}@mail.example".lower() if rng.random() < 0.4 else "",
        language=rng.choice(names.languages),
        contact_note="A child: call the mother, who comes along." if child else rng.choice(names.notes),
        eyes={
            side: Traits(_length(rng, kind), "yes" if kind.staphyloma else rng.choice(("no", "unknown")))
            for side in rng.sample(("right", "left"), sides)
        },
    )


def _free_name(rng: Random, names: Names, sex: str, taken: set[tuple[str, str]]) -> tuple[str, str]:
    given = names.female if sex == "female" else names.male
    while (name := (rng.choice(names.family), rng.choice(given))) in taken:
        continue
    taken.add(name)
    return name


def _length(rng: Random, kind: Kind) -> Decimal | None:
    if not kind.staphyloma and rng.random() < 0.25:
        return None
    return Decimal(str(round(rng.uniform(*kind.axial_length_mm), 2)))


def _live(person: Person, kind: Kind, rng: Random, week: Week, first: date) -> None:
    """Where both eyes were operated on, some months lie between."""
    old = (first - person.birth_date).days > 62 * 365
    lens = "pseudophakic" if old and rng.random() < 0.5 else "phakic"
    months = timedelta(days=rng.randint(60, 240))
    other = first + months if first + months < week.today - timedelta(days=8) else first - months
    for side, day in zip(person.eyes, (first, week.from_day(other, "removal")), strict=False):
        person.events += live(kind, side, day, rng, week, lens).events
    person.events = merged(person.events)
    meet_fate(person, rng, week)


def merged(events: list[Event]) -> list[Event]:
    """In order of days; both eyes are booked in one place and seen at one visit."""
    visits: dict[date, Seen] = {}
    places: set[tuple[date, str]] = set()
    kept: list[Event] = []
    for event in sorted(events, key=lambda event: event.day):
        match event:
            case Seen() if event.day in visits:
                first = visits[event.day]
                both = Seen(event.day, (*first.exams, *event.exams), first.surgeon, first.note or event.note)
                kept[kept.index(first)] = visits[event.day] = both
            case Seen():
                visits[event.day] = event
                kept.append(event)
            case Booked() if (event.on, event.lane) in places:
                continue
            case Booked():
                places.add((event.on, event.lane))
                kept.append(event)
            case _:
                kept.append(event)
    return [event for event in kept if not (isinstance(event, Missed) and event.day in visits)]
