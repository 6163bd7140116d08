"""Cautions of what is in an eye, and whom to call; a range of days is never a permission."""

from __future__ import annotations

from datetime import date

import pytest

from followup.domain.fills import Fill
from followup.domain.words import Tamponade
from followup.models import Site
from followup.queries.cautions import cautions_for, urgent_symptoms

PLACED, TODAY = date(2026, 2, 20), date(2026, 3, 2)


def said(tamponade: Tamponade) -> str:
    fill = Fill(tamponade, PLACED, 1, PLACED)
    (caution,) = cautions_for(fill=fill, day=TODAY, removal_plan="Oil removal: between two days.")
    return f"{caution.title}. {caution.text}"


@pytest.mark.parametrize(
    ("tamponade", "usual"),
    [
        (Tamponade.AIR, "4 to 7 days"),
        (Tamponade.SF6, "10 days to 4 weeks"),
        (Tamponade.C2F6, "5 to 6 weeks"),
        (Tamponade.C3F8, "1 to 3 months"),
    ],
)
def test_gas_forbids_flying_until_an_examiner_sees_it_gone(tamponade: Tamponade, usual: str) -> None:
    assert said(tamponade) == (
        f"{tamponade.label} in this eye since 20 Feb 2026 (10 days). No flying, no travel to altitude, no "
        "nitrous oxide, until an examiner records that the bubble is gone. "
        f"It usually stays {usual}; only an examiner clears it."
    )


def test_a_gas_of_unknown_kind_has_no_usual_stay() -> None:
    assert "usually" not in said(Tamponade.GAS)


@pytest.mark.parametrize("tamponade", [Tamponade.OIL_1000, Tamponade.HEAVY_OIL])
def test_oil_tells_its_days_and_plan_and_asks_about_a_mixed_fill(tamponade: Tamponade) -> None:
    assert said(tamponade) == (
        f"{tamponade.label} in this eye since 20 Feb 2026 (10 days). Check pressure. "
        "Removal plan: Oil removal: between two days. A mixed fill may hold gas: ask before flying."
    )


def test_an_unknown_tamponade_is_taken_for_gas_until_it_is_known() -> None:
    assert "Tamponade unknown, check" in said(Tamponade.UNKNOWN)
    assert "It may be gas. No flying" in said(Tamponade.UNKNOWN)


def test_an_eye_that_holds_nothing_has_no_caution() -> None:
    assert cautions_for(fill=None, day=TODAY, removal_plan="") == []


def test_urgent_symptoms_name_the_telephones_there_are() -> None:
    both = urgent_symptoms(Site(phone="555 0100", urgent_phone="555 0199"))
    assert both.text.endswith(
        "same-day care, whatever the schedule says. Clinic: 555 0100. Out of hours: 555 0199."
    )
    assert "Out of hours" not in urgent_symptoms(Site(phone="555 0100")).text
    assert both.urgent
