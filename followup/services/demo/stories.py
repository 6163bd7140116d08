"""Turns a hand-written story of `fixtures/demo/stories.toml` into a person and what happened to them.

Days in a story: `ago` and `ahead` count from today, `after` from the last operation on that eye. They move to
the nearest day on which the clinic holds such a list, unless `urgent` is set.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from random import Random
from typing import Any

from followup.services.demo.events import (
    Accepted,
    Booked,
    Called,
    Cancelled,
    Died,
    EnteredInError,
    Event,
    Missed,
    Moved,
    Person,
    Seen,
    Traits,
)
from followup.services.demo.eye_life import EyeLife
from followup.services.demo.week import Week

_DAYS = ("ago", "ahead", "after", "urgent", "lead")


def tell(story: dict[str, Any], number: int, rng: Random, week: Week) -> Person:
    """The person of this story; `number` gives the record number."""
    person = Person(
        record_number=f"VB{10000 + 11 * number:06}",
        family_name=story["family"],
        given_name=story["given"],
        sex=story["sex"],
        birth_date=week.today - timedelta(days=round(story["age"] * 365.25) + rng.randint(20, 340)),
        phone=f"01632 960{200 + number:03}",
        email=story.get("email", ""),
        contact_note=story.get("contact_note", ""),
        eyes={side: _traits(eye) for side, eye in story["eyes"].items()},
    )
    teller = _Teller(week, {side: _life(side, eye, rng, week) for side, eye in story["eyes"].items()}, [])
    for line in story["course"]:
        teller.tell(line)
    person.events = teller.events
    return person


def _traits(eye: dict[str, Any]) -> Traits:
    length = eye.get("axial_length_mm")
    return Traits(
        axial_length_mm=Decimal(str(length)) if length else None,
        staphyloma=eye.get("staphyloma", "unknown"),
        only_eye=eye.get("only_eye", False),
    )


def _life(side: str, eye: dict[str, Any], rng: Random, week: Week) -> EyeLife:
    told = {
        name: eye[name] for name in ("before", "after", "has_hole", "surgeon", "lens", "style") if name in eye
    }
    return EyeLife(side, rng, week, **told)


@dataclass(slots=True)
class _Teller:
    week: Week
    lives: dict[str, EyeLife]
    events: list[Event]

    def tell(self, line: dict[str, Any]) -> None:
        """One line of the story; what the eye lived through joins the person's events."""
        told = dict(line)
        life = self.lives[told.pop("side", next(iter(self.lives)))]
        verb: Callable[[EyeLife, dict[str, Any]], None] = getattr(self, f"_{told.pop('do')}")
        verb(life, told)
        self.events += life.events
        life.events.clear()

    def _day(self, life: EyeLife, told: dict[str, Any], lane: str = "review") -> date:
        if "after" in told:
            day = life.anchor + timedelta(days=told["after"])
            return day if told.get("urgent") else self.week.from_day(day, lane)
        if "ahead" in told:
            return self.week.from_day(self.week.today + timedelta(days=told["ahead"]), lane)
        day = self._ago(told)
        return day if told.get("urgent") else self.week.until_day(day, lane)

    def _ago(self, told: dict[str, Any]) -> date:
        """So many days ago, on whatever weekday; by default the day of the event before."""
        if "ago" not in told:
            return self.events[-1].day
        return self.week.today - timedelta(days=told["ago"])

    def _last_booked(self) -> date:
        """The day of the place that was booked or moved last."""
        return next(event.on for event in reversed(self.events) if isinstance(event, Booked | Moved))

    def _operate(self, life: EyeLife, told: dict[str, Any]) -> None:
        life.operate(self._day(life, told, "removal"), **_without(told, *_DAYS))

    def _reviews(self, life: EyeLife, told: dict[str, Any]) -> None:
        for key in told["keys"]:
            life.review(life.planned(key), **_without(told, "keys"))

    def _see(self, life: EyeLife, told: dict[str, Any]) -> None:
        day = self._day(life, told)
        if "lead" in told:
            life.book(day - timedelta(days=told["lead"]), day)
        life.see(day, **_without(told, *_DAYS))

    def _miss(self, life: EyeLife, told: dict[str, Any]) -> None:
        day = self._day(life, told)
        if life.book(day - timedelta(days=told.get("lead", 25)), day):
            self.events.append(Missed(day, told.get("reason", "not_known")))

    def _book(self, life: EyeLife, told: dict[str, Any]) -> None:
        lane = told.get("lane", "review")
        made = self.week.today - timedelta(days=told.get("made_ago", 3))
        life.book(made, self._day(life, told, lane), lane, told.get("note", ""))

    def _move(self, life: EyeLife, told: dict[str, Any]) -> None:
        to = self.week.from_day(self.week.today + timedelta(days=told["ahead"]))
        made = self.week.today - timedelta(days=told["made_ago"])
        self.events.append(Moved(made, self._last_booked(), to))

    def _cancel(self, life: EyeLife, told: dict[str, Any]) -> None:
        self.events.append(Cancelled(self._ago(told), self._last_booked(), told["by"], told["reason"]))

    def _call(self, life: EyeLife, told: dict[str, Any]) -> None:
        self.events.append(Called(self._ago(told), **_without(told, *_DAYS)))

    def _sign(self, life: EyeLife, told: dict[str, Any]) -> None:
        day = self._ago(told)
        details = _without(told, *_DAYS, "review_in")
        if "review_in" in told:
            details["review_on"] = day + timedelta(days=told["review_in"])
        life.sign(day, **details)

    def _accept(self, life: EyeLife, told: dict[str, Any]) -> None:
        self.events.append(Accepted(self._ago(told), life.side))

    def _die(self, life: EyeLife, told: dict[str, Any]) -> None:
        day = self._ago(told)
        self.events.append(Died(day, day - timedelta(days=told["days_before"]), told["source"]))

    def _mark_in_error(self, life: EyeLife, told: dict[str, Any]) -> None:
        wrong = next(event.day for event in reversed(self.events) if isinstance(event, Seen))
        self.events.append(EnteredInError(wrong + timedelta(days=1), wrong, told["reason"]))


def _without(told: dict[str, Any], *names: str) -> dict[str, Any]:
    return {name: value for name, value in told.items() if name not in names}
