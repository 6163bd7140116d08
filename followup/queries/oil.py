"""Every eye that holds oil or heavy liquid, worst first."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from followup.domain.facts import AppointmentFact, DecisionFact
from followup.domain.fills import Fill
from followup.domain.pathway.milestones import Milestone
from followup.domain.standing import keep_decision
from followup.domain.words import Lane
from followup.models import Decision, Site
from followup.queries.standing import EyeStandingRow, site_standings


@dataclass(frozen=True, slots=True)
class OilRow:
    """One open fill of a tamponade that must come out."""

    row: EyeStandingRow
    day: date
    fill: Fill
    removal: Milestone | None
    """The window for taking it out; None for an eye whose record holds no such milestone."""
    kept: DecisionFact | None
    """The signature that keeps it in, valid or past its review date."""
    kept_by: str
    kept_because: str
    theatre: AppointmentFact | None

    @property
    def days_in_eye(self) -> int:
        return self.fill.days_in_eye(self.day)

    @property
    def days_since_first(self) -> int:
        return self.fill.days_since_first(self.day)

    @property
    def was_exchanged(self) -> bool:
        return self.fill.first_placed_on != self.fill.placed_on

    @property
    def days_past_limit(self) -> int:
        """0 or fewer while within the limit."""
        return (self.day - self.removal.closes).days if self.removal else 0

    @property
    def is_kept(self) -> bool:
        """A decision to keep it is signed and its review date not past."""
        return self.kept is not None and self.kept.review_on is not None and self.day <= self.kept.review_on

    @property
    def is_past_review(self) -> bool:
        return self.kept is not None and not self.is_kept


def tamponade_in_place(*, site: Site, day: date) -> list[OilRow]:
    """Open fills of oil and heavy liquid of people alive: past their limit first, validly kept ones last."""
    rows = [
        row
        for row in site_standings(site=site, day=day)
        if row.state.fill and row.state.fill.must_come_out and row.eye.patient.died_on is None
    ]
    signed = _signatures([kept.id for row in rows if (kept := keep_decision(row.state))])
    return sorted((_oil_row(row, day, signed) for row in rows), key=_worst_first)


def _oil_row(row: EyeStandingRow, day: date, signed: dict[int, Decision]) -> OilRow:
    fill = row.state.fill
    assert fill is not None
    kept = keep_decision(row.state)
    signature = signed.get(kept.id) if kept else None
    return OilRow(
        row=row,
        day=day,
        fill=fill,
        removal=next((m for m in row.state.course.milestones if m.lane is Lane.REMOVAL and m.is_unmet), None),
        kept=kept,
        kept_by=str(signature.signed_by) if signature else "",
        kept_because=signature.reason if signature else "",
        theatre=next(
            (a for a in row.state.appointments if a.lane is Lane.REMOVAL and a.lies_ahead(day)), None
        ),
    )


def _signatures(ids: list[int]) -> dict[int, Decision]:
    return {row.pk: row for row in Decision.objects.filter(pk__in=ids).select_related("signed_by")}


def _worst_first(row: OilRow) -> tuple[bool, int, int, int]:
    return row.is_kept, -row.days_past_limit, -row.days_in_eye, row.row.eye.pk
