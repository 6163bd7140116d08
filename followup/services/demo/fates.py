"""Ways in which random people leave the usual course: they stay away, move, refuse, are lost or die."""

from __future__ import annotations

from datetime import date, timedelta
from random import Random

from followup.domain.words import Tamponade
from followup.services.demo.events import Accepted, Booked, Called, Died, Event, Missed, Person, Seen, Signed
from followup.services.demo.week import Week

FATES = {"stays_away": 0.07, "died": 0.035, "moved": 0.035, "refused": 0.03, "lost": 0.04}
_ELSEWHERE = (
    "Harrowdene General, eye department",
    "Seabourne Retina Centre",
    "Northolm University Eye Hospital",
)
_LADDER = ((0, "phone"), (2, "phone"), (3, "text"), (7, "letter"), (14, "referrer"))


def meet_fate(person: Person, rng: Random, week: Week) -> None:
    """Ends or interrupts the person's course by chance; most people keep theirs.

    A course ends only after a visit at which no oil was in the eye, so that nobody is closed with oil.
    """
    fate = rng.choices(["", *FATES], [1 - sum(FATES.values()), *FATES.values()])[0]
    if not fate or len(person.eyes) > 1:
        return
    if fate == "stays_away":
        _stay_away(person, rng, week)
        return
    ends = [day for day in _visits_without_oil(person) if day < week.today - timedelta(days=100)]
    if ends and not _is_discharged(person):
        _leave(person, rng.choice(ends[-3:]), fate, rng)


def _is_discharged(person: Person) -> bool:
    return any(isinstance(event, Signed) for event in person.events)


def _visits_without_oil(person: Person) -> list[date]:
    """Days seen with no oil in the eye and the retina attached, after the first weeks."""
    oil, days = False, []
    for event in person.events:
        if event in person.operations:
            oil = Tamponade(event.tamponade_in).kind.must_come_out
        elif isinstance(event, Seen) and not oil and (event.day - person.events[0].day).days > 80:
            days.append(event.day)
    return days


def _stay_away(person: Person, rng: Random, week: Week) -> None:
    """The last visit did not happen, and one or two calls have been made since."""
    seen = [event for event in person.events if isinstance(event, Seen)]
    if len(seen) < 4 or seen[-1].day > week.today - timedelta(days=12) or _is_discharged(person):
        return
    last = seen[-1]
    person.events = [event for event in _until(person, last.day) if event is not last]
    if any(isinstance(event, Booked) and event.on == last.day for event in person.events):
        person.events.append(Missed(last.day, rng.choice(("not_known", "work", "ill", "fear"))))
    made = max(last.day + timedelta(days=1), week.today - timedelta(days=rng.randint(4, 20)))
    person.events.append(Called(made, "phone", rng.choice(("no_answer", "message_left"))))


def _leave(person: Person, last_seen: date, fate: str, rng: Random) -> None:
    person.events = _until(person, last_seen)
    person.events += _LAST_EVENTS[fate](person, last_seen, rng)


def _until(person: Person, day: date) -> list[Event]:
    """What happened until that day, without the places booked beyond it."""
    return [
        event
        for event in person.events
        if event.day <= day and not (isinstance(event, Booked) and event.on > day)
    ]


def _died(person: Person, last_seen: date, rng: Random) -> list[Event]:
    died_on = last_seen + timedelta(days=rng.randint(15, 80))
    return [Died(died_on + timedelta(days=rng.randint(2, 15)), died_on, "Letter from the family doctor")]


def _moved(person: Person, last_seen: date, rng: Random) -> list[Event]:
    side = next(iter(person.eyes))
    signed = last_seen + timedelta(days=rng.randint(5, 40))
    return [
        Signed(signed, side, "transfer", "Moved away; file and letter sent.", to_whom=rng.choice(_ELSEWHERE)),
        Accepted(signed + timedelta(days=rng.randint(6, 25)), side),
    ]


def _refused(person: Person, last_seen: date, rng: Random) -> list[Event]:
    called = last_seen + timedelta(days=rng.randint(30, 60))
    side = next(iter(person.eyes))
    return [
        Called(called, "phone", "refused", rng.choice(("feels_fine", "cost", "fear"))),
        Signed(called + timedelta(days=3), side, "refused", "Told of the warning signs, in writing too."),
    ]


def _lost(person: Person, last_seen: date, rng: Random) -> list[Event]:
    first = last_seen + timedelta(days=rng.randint(40, 55))
    calls = [Called(first + timedelta(days=after), channel, "no_answer") for after, channel in _LADDER]
    side = next(iter(person.eyes))
    signed = first + timedelta(days=22)
    return [*calls, Signed(signed, side, "lost", "Five attempts on three ways, letter to the family doctor.")]


_LAST_EVENTS = {"died": _died, "moved": _moved, "refused": _refused, "lost": _lost}
