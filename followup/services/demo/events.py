"""What happens to an invented person, day by day; `load.py` writes each through its service."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import TypeAlias

from followup.services.visits import ExamEntry


@dataclass(frozen=True, slots=True)
class Operated:
    day: date
    side: str
    indication: str
    procedures: tuple[str, ...]
    tamponade_in: str
    takes_out: bool = False
    tamponade_percent: int | None = None
    repeat: str = "first"
    extent: str = "unknown"
    attached_at_end: str = "yes"
    surgeon: int = 0
    """Which of the clinic's surgeons, counted from 0."""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Seen:
    day: date
    exams: tuple[ExamEntry, ...]
    surgeon: int = 0
    note: str = ""


@dataclass(frozen=True, slots=True)
class Booked:
    day: date
    on: date
    lane: str = "review"
    side: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Moved:
    """The place held on `held` goes to the first list from `on`."""

    day: date
    held: date
    on: date


@dataclass(frozen=True, slots=True)
class Cancelled:
    day: date
    held: date
    by: str
    reason: str


@dataclass(frozen=True, slots=True)
class Missed:
    day: date
    reason: str = "not_known"


@dataclass(frozen=True, slots=True)
class Called:
    day: date
    channel: str
    result: str
    reason: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Signed:
    day: date
    side: str
    kind: str
    reason: str
    review_on: date | None = None
    to_whom: str = ""
    surgeon: int = 0


@dataclass(frozen=True, slots=True)
class Accepted:
    """The transfer of this eye was accepted by who received it."""

    day: date
    side: str


@dataclass(frozen=True, slots=True)
class Died:
    day: date
    died_on: date
    source: str


@dataclass(frozen=True, slots=True)
class EnteredInError:
    """The visit of `visit_day` turned out to be wrong."""

    day: date
    visit_day: date
    reason: str


Event: TypeAlias = (
    Operated | Seen | Booked | Moved | Cancelled | Missed | Called | Signed | Accepted | Died | EnteredInError
)


@dataclass(frozen=True, slots=True)
class Traits:
    axial_length_mm: Decimal | None = None
    staphyloma: str = "unknown"
    only_eye: bool = False


@dataclass(slots=True)
class Person:
    """An invented person with everything that happened to them; events of one day stand in their order."""

    record_number: str
    family_name: str
    given_name: str
    sex: str
    birth_date: date
    phone: str = ""
    email: str = ""
    language: str = "en"
    contact_note: str = ""
    eyes: dict[str, Traits] = field(default_factory=dict)
    events: list[Event] = field(default_factory=list)

    @property
    def operations(self) -> list[Operated]:
        return [event for event in self.events if isinstance(event, Operated)]
