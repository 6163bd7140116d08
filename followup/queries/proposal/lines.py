"""The proposal as its page shows it: for each need a place, why, and what else could be chosen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from followup.domain.words import SessionKind
from followup.models import Session, Site
from followup.queries.proposal.assign import Slot, assign
from followup.queries.proposal.wants import Need, needs_of
from followup.queries.sessions import open_sessions

WEEKS_AHEAD = 26
MOST_CHOICES = 8


@dataclass(frozen=True, slots=True)
class ProposedLine:
    need: Need
    session: Session | None
    """The place proposed; None where no free place fits."""
    delay: int
    """Days past the windows, both eyes added."""
    choices: tuple[Session, ...]
    """Sessions with room that fit, the first first, the proposed one among them."""

    @property
    def key(self) -> str:
        eye = self.need.eye
        return f"{self.need.patient.pk}-{self.need.lane}-{eye.pk if eye else 0}"


def proposal(site: Site, day: date) -> list[ProposedLine]:
    """Everybody to book or overdue, assigned to the free places of half a year, most pressing first."""
    needs = needs_of(site, day)
    last = day + timedelta(weeks=WEEKS_AHEAD)
    rows = [row for kind in SessionKind for row in open_sessions(site, kind.value, day, last)]
    sessions = {row.session.pk: row.session for row in rows}
    slots = [
        Slot(row.session.pk, row.session.day, row.session.kind, row.free_on(day))
        for row in rows
        if row.free_on(day)
    ]
    taken = assign([need.want for need in needs], slots)
    return [_line(need, slot, slots, sessions) for need, slot in zip(needs, taken, strict=True)]


def _line(
    need: Need, slot: Slot | None, slots: Sequence[Slot], sessions: Mapping[int, Session]
) -> ProposedLine:
    fitting = sorted(
        (each for each in slots if need.want.may_take(each)),
        key=lambda each: (need.want.cost(each), each.day),
    )[:MOST_CHOICES]
    choices = {each.session: each for each in [*([slot] if slot else []), *fitting]}
    ordered = sorted(choices.values(), key=lambda each: (each.day, each.session))
    return ProposedLine(
        need=need,
        session=sessions[slot.session] if slot else None,
        delay=need.want.delay(slot.day) if slot else 0,
        choices=tuple(sessions[each.session] for each in ordered),
    )
