"""Cautions that apply to an eye now, worded once for its page and for letters.

Local protocol and licensed clinicians decide; the usual days of a gas are a range, never a permission.
Ranges: air, five half-lives of the published 0.9 to 1.6 days; SF6 and C3F8, practice pattern of idiopathic
macular hole (Flaxel CJ et al. Ophthalmology 2020) and Int J Retina Vitreous 2024
(doi 10.1186/s40942-024-00530-y); C2F6, the latter.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from followup.domain.fills import Fill
from followup.domain.words import Tamponade, TamponadeKind
from followup.models import Site

URGENT_SYMPTOMS = (
    "New curtain or shadow, new flashes or a shower of floaters, sudden loss of sight, severe pain or "
    "headache with vomiting, increasing redness or discharge: same-day care, whatever the schedule says."
)
_USUAL_STAY = {
    Tamponade.AIR: "4 to 7 days",
    Tamponade.SF6: "10 days to 4 weeks",
    Tamponade.C2F6: "5 to 6 weeks",
    Tamponade.C3F8: "1 to 3 months",
}
_NO_FLYING = (
    "No flying, no travel to altitude, no nitrous oxide, until an examiner records that the bubble is gone."
)


@dataclass(frozen=True, slots=True)
class Caution:
    title: str
    text: str
    urgent: bool = False


def cautions_for(*, fill: Fill | None, day: date, removal_plan: str) -> list[Caution]:
    """What must be known of what is in the eye on `day`; empty where it holds nothing."""
    if fill is None:
        return []
    since = f"since {fill.placed_on:%-d %b %Y} ({_days(fill.days_in_eye(day))})"
    kind = fill.tamponade.kind
    if kind.leaves_by_itself:
        return [Caution(f"{fill.tamponade.label} in this eye {since}", f"{_NO_FLYING}{_usual(fill)}")]
    if kind is TamponadeKind.UNKNOWN:
        return [
            Caution(
                f"Tamponade unknown, check: operation of {fill.placed_on:%-d %b %Y}",
                f"It may be gas. {_NO_FLYING} Record what was put in, or what an examiner sees.",
            )
        ]
    mixed = " A mixed fill may hold gas: ask before flying." if kind is TamponadeKind.OIL else ""
    return [
        Caution(
            f"{fill.tamponade.label} in this eye {since}",
            f"Check pressure. Removal plan: {removal_plan}{mixed}",
        )
    ]


def urgent_symptoms(site: Site) -> Caution:
    """Shown on every eye's page and printed on every letter, with whom to call."""
    calls = [f"Clinic: {site.phone}." if site.phone else "", _out_of_hours(site)]
    return Caution("Same day, not a routine place", " ".join([URGENT_SYMPTOMS, *filter(None, calls)]), True)


def _out_of_hours(site: Site) -> str:
    return f"Out of hours: {site.urgent_phone}." if site.urgent_phone else ""


def _usual(fill: Fill) -> str:
    usual = _USUAL_STAY.get(fill.tamponade)
    return f" It usually stays {usual}; only an examiner clears it." if usual else ""


def _days(number: int) -> str:
    return f"{number} day" if number == 1 else f"{number} days"
