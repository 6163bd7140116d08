"""How a random eye goes: operated, reviewed, sometimes detached again, emptied of oil, discharged."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from random import Random

from followup.services.demo import findings
from followup.services.demo.eye_life import REVIEWS, EyeLife
from followup.services.demo.facts import Kind
from followup.services.demo.week import Week

_DETACHES_AT = {"M1": 9, "M3": 7, "M6": 3, "M12": 1}
"""Mostly within three months (common practice, as the published series in the trade show)."""
_STAYS_AWAY = 0.04


def live(kind: Kind, side: str, operated_on: date, rng: Random, week: Week, lens: str) -> EyeLife:
    """The whole life of one eye until today, from an operation at about this day."""
    spread = rng.gauss(0, 0.15)
    life = EyeLife(
        side,
        rng,
        week,
        before=kind.before + spread,
        after=max(-0.05, kind.after + spread),
        has_hole=kind.has_hole,
        surgeon=rng.choice((0, 0, 1)),
        lens=lens,
        style=findings.style(rng),
    )
    _first_operation(life, kind, operated_on)
    detaches_at = _detaches_at(kind, rng)
    if life.holds_oil:
        _under_oil(life, detaches_at)
    elif not (detaches_at and _until_it_detaches(life, detaches_at)):
        _reviews(life, kind)
    return life


def _detaches_at(kind: Kind, rng: Random) -> str:
    """The review at which the retina will be found detached; "" for most eyes."""
    if rng.random() >= kind.recurs:
        return ""
    return rng.choices([*_DETACHES_AT], [*_DETACHES_AT.values()])[0]


def _first_operation(life: EyeLife, kind: Kind, day: date) -> None:
    rng = life.rng
    tamponade = rng.choices([*kind.tamponades], [*kind.tamponades.values()])[0]
    procedures = [*kind.procedures, *(extra for extra in kind.extra if rng.random() < 0.35)]
    life.operate(
        day,
        kind.indication,
        _with_oil(procedures) if tamponade.startswith("oil") else procedures,
        tamponade,
        extent=rng.choice(kind.extents),
    )


def _with_oil(procedures: Sequence[str]) -> list[str]:
    return list(dict.fromkeys([*procedures, "oil_insertion"]))


def _reviews(life: EyeLife, kind: Kind | None, *, sure: Sequence[str] = ("D1", "W1")) -> None:
    """Reviews of the present course until today, and the discharge at the end of it."""
    for key in REVIEWS:
        day = life.planned(key)
        came = key in sure or life.rng.random() >= _STAYS_AWAY
        life.review(day, came=came)
        if day >= life.week.today:
            return
        if came and kind and _is_discharged(life, kind, key):
            life.sign(day, "discharge", "Retina flat, sight stable. May return with any new symptom.")
            return


def _is_discharged(life: EyeLife, kind: Kind, key: str) -> bool:
    """Eyes that are followed for life are not discharged by routine."""
    if kind.staphyloma or "scleral_buckle" in kind.procedures:
        return False
    chance = {"M12": kind.leaves_after_a_year, "M24": 0.92}.get(key, 0.0)
    return life.rng.random() < chance


def _until_it_detaches(life: EyeLife, key: str) -> bool:
    """Seen well until the retina is found detached at this review, then repaired under oil.

    False, with nothing recorded, where that day has not come yet.
    """
    keys = list(REVIEWS)
    found_on = life.planned(key)
    repaired_on = life.week.from_day(found_on + timedelta(days=life.rng.randint(1, 5)), "removal")
    if repaired_on >= life.week.today:
        return False
    for earlier in keys[: keys.index(key)]:
        life.review(life.planned(earlier))
    macula = life.rng.choice(("detached_macula_on", "detached_macula_off"))
    life.review(found_on, retina=macula, note="New shadow for some days. Listed for repeat surgery.")
    life.after = min(1.5, life.after + 0.3)
    took_out = life.holds_oil
    life.operate(
        repaired_on,
        "redetachment",
        ["vitrectomy", "membrane_peel", "endolaser", "oil_exchange" if took_out else "oil_insertion"],
        "oil_5000" if took_out else "oil_1000",
        takes_out=took_out,
        repeat="repeat",
        extent="to_periphery",
    )
    _under_oil(life, "")
    return True


def _under_oil(life: EyeLife, detaches_at: str) -> None:
    """Reviews under oil, its removal within two to three months or somewhat later, reviews after it."""
    if detaches_at == "M3" and _until_it_detaches(life, "M1"):
        return
    out_on = _removal_day(life)
    for key in ("D1", "W1", "M1", "M3", "M6"):
        day = life.planned(key)
        if day >= out_on:
            break
        life.review(day)
        if day >= life.week.today:
            break
    life.take_oil_out(out_on, booked_after=life.rng.randint(24, 50))
    if out_on < life.week.today and not (detaches_at and _until_it_detaches(life, detaches_at)):
        _reviews(life, None)


def _removal_day(life: EyeLife) -> date:
    days = life.rng.randint(64, 84) if life.rng.random() < 0.85 else life.rng.randint(96, 150)
    return life.week.from_day(life.placed_on + timedelta(days=days), "removal")
