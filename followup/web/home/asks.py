"""What today asks of a role, each with the list that answers it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from django.urls import reverse

from followup.domain.roles import Action, Role, may
from followup.domain.words import Standing
from followup.queries.home import DayAtAGlance


@dataclass(frozen=True, slots=True)
class Ask:
    words: str
    address: str
    detail: str = ""


def asks_of(role: str, glance: DayAtAGlance) -> list[Ask]:
    """What waits for this role, most pressing first; nothing that is at zero."""
    asks: list[Ask] = []
    if may(role, Action.SIGN_DECISION):
        asks.extend(_for_surgeon(glance))
    if may(role, Action.BOOK):
        asks.extend(_for_coordinator(glance))
    asks.extend(_standing_work(role, glance))
    return asks


def _for_surgeon(glance: DayAtAGlance) -> Iterator[Ask]:
    if glance.overdue_removals:
        words = f"{_eyes(glance.overdue_removals)} with oil or heavy liquid past the limit"
        yield Ask(words, reverse("oil"))
    if asked := glance.standings[Standing.NEEDS_DECISION]:
        yield Ask(f"{_eyes(asked)} on which a clinician must decide", reverse("questions"))


def _for_coordinator(glance: DayAtAGlance) -> Iterator[Ask]:
    recall = reverse("recall")
    if overdue := glance.standings[Standing.OVERDUE]:
        yield Ask(f"{_eyes(overdue)} overdue", f"{recall}?standing={Standing.OVERDUE}")
    if to_book := glance.standings[Standing.TO_BOOK]:
        yield Ask(f"{_eyes(to_book)} to book", f"{recall}?standing={Standing.TO_BOOK}")
    if glance.calls_due:
        people = "person" if glance.calls_due == 1 else "people"
        yield Ask(f"{glance.calls_due} {people} to contact again by today", f"{recall}?call_due=on")
    if glance.cannot_come:
        people = "person" if glance.cannot_come == 1 else "people"
        yield Ask(
            f"{glance.cannot_come} booked {people} who answered that they cannot come", reverse("answers")
        )
    if glance.without_outcome:
        places = "appointment" if glance.without_outcome == 1 else "appointments"
        oldest = f"the oldest of {glance.oldest_without_outcome:%-d %b %Y}"
        words = f"{glance.without_outcome} past {places} without an outcome"
        yield Ask(words, reverse("without_outcome"), oldest)


def _standing_work(role: str, glance: DayAtAGlance) -> Iterator[Ask]:
    if may(role, Action.IMPORT) and glance.imports_waiting:
        sheets = "sheet" if glance.imports_waiting == 1 else "sheets"
        yield Ask(f"{glance.imports_waiting} {sheets} checked and not yet written", reverse("imports"))
    if role == Role.AUDITOR:
        yield Ask("Choose a cohort and audit it", reverse("audit"))
    if role == Role.ADMINISTRATOR:
        yield Ask("Bring in a sheet", reverse("imports"))
        yield Ask("Staff: who signs in, their roles and clinics", reverse("staff"))
        yield Ask("Calendar addresses of this clinic", reverse("calendar_addresses"))


def _eyes(number: int) -> str:
    return f"{number} eye" if number == 1 else f"{number} eyes"
