"""One invented eye as it goes from operation to review; collects what happened to it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from math import exp
from random import Random
from typing import Any

from followup.domain.dates.durations import Duration
from followup.domain.words import Tamponade, TamponadeKind
from followup.services.demo import findings
from followup.services.demo.events import Booked, Event, Missed, Operated, Seen, Signed
from followup.services.demo.week import Week
from followup.services.visits import AcuityEntry, ExamEntry

REVIEWS = {
    "D1": Duration(days=1),
    "W1": Duration(days=7),
    "M1": Duration(months=1),
    "M3": Duration(months=3),
    "M6": Duration(months=6),
    "M12": Duration(months=12),
    "M24": Duration(months=24),
    "M36": Duration(months=36),
}
_FROM_THE_DAY = {"D1": (0, 0), "W1": (0, 1), "M1": (-2, 7), "M3": (-5, 12), "M6": (-8, 16), "M12": (0, 35)}
"""Days that people come early and late, well within the windows of the shipped pathways."""
_YEARLY = (2, 38)
_HEALS_DAYS = 55
_LISTED_BEFORE = timedelta(days=2)
_DETACHED = {"rrd", "redetachment", "pvr", "giant_tear", "mhrd", "trd"}


@dataclass(slots=True)
class EyeLife:
    """`before` and `after` are logMAR before surgery and long after it."""

    side: str
    rng: Random
    week: Week
    before: float = 1.0
    after: float = 0.3
    has_hole: bool = False
    surgeon: int = 0
    lens: str = "phakic"
    style: str = "metre"
    anchor: date = date.min
    tamponade: str = "none"
    placed_on: date = date.min
    events: list[Event] = field(default_factory=list)

    @property
    def holds_oil(self) -> bool:
        return Tamponade(self.tamponade).kind.must_come_out

    # Operations

    def operate(
        self,
        day: date,
        indication: str,
        procedures: Sequence[str],
        tamponade: str,
        *,
        takes_out: bool = False,
        **details: Any,
    ) -> None:
        """An operation on a day before today; gas, oil and follow-up count from it."""
        if self.anchor == date.min:
            self._list(day - _LISTED_BEFORE, indication)
        gas = Tamponade(tamponade).kind is TamponadeKind.GAS
        self.events.append(
            Operated(
                day,
                self.side,
                indication,
                tuple(procedures),
                tamponade,
                takes_out=takes_out,
                tamponade_percent={"sf6": 20, "c2f6": 16, "c3f8": 14}.get(tamponade) if gas else None,
                surgeon=self.surgeon,
                **details,
            )
        )
        if "lens_surgery" in procedures and self.lens != "aphakic":
            self.lens = "pseudophakic"
        if set(procedures) == {"lens_surgery"}:
            return
        self.anchor = day
        if takes_out or not self.holds_oil or Tamponade(tamponade).kind.must_come_out:
            self.tamponade, self.placed_on = tamponade, day

    def take_oil_out(self, day: date, *, booked_after: int) -> None:
        """The removal in theatre; only its booking where the day is still to come."""
        self.book(max(self.anchor, self.placed_on + timedelta(days=booked_after)), day, "removal")
        if day >= self.week.today:
            return
        lens = ["lens_surgery"] if self.lens == "cataract" else []
        self.operate(
            day,
            "tamponade_removal",
            ["vitrectomy", "oil_removal", *lens],
            "none",
            takes_out=True,
            repeat="repeat",
        )

    # Reviews

    def planned(self, key: str) -> date:
        """The day that this review of the present course falls on: a clinic day about its target."""
        day = REVIEWS[key].add_to(self.anchor)
        if key == "D1":
            return day
        early, late = _FROM_THE_DAY.get(key, _YEARLY)
        return self.week.from_day(day + timedelta(days=self.rng.randint(early, late)))

    def review(self, day: date, *, came: bool = True, lead: int | None = None, **found: Any) -> None:
        """A planned review: its booking, and what was found; only the booking where it is still to come."""
        if lead is None:
            lead = self._lead((day - self.anchor).days)
        booked = self.book(max(self.anchor, day - timedelta(days=lead)), day)
        if day >= self.week.today:
            return
        if came:
            self.see(day, **found)
        elif booked:
            self.events.append(Missed(day, self.rng.choice(("not_known", "feels_fine", "no_escort", "cost"))))

    def _lead(self, days: int) -> int:
        """How many days before it a review is booked: the first ones as the eye leaves theatre."""
        if days < 45:
            return days
        return self.rng.randint(12, 42) if days < 300 else self.rng.randint(28, 82)

    def book(self, made: date, day: date, lane: str = "review", note: str = "") -> bool:
        """A place on `day`: False where the tool had no such list, or the booking is still to come."""
        made = max(made, self.week.opened)
        booked = self.week.can_book(day, lane) and made <= day and made < self.week.today
        if booked:
            self.events.append(Booked(made, day, lane, self.side if lane == "removal" else "", note))
        return booked

    def see(self, day: date, *, note: str = "", **found: Any) -> None:
        """An exam of this eye; whatever is not told is as it would be so long after the operation."""
        self.events.append(Seen(day, (self._exam(day, found),), self.surgeon, note))

    def _list(self, day: date, indication: str) -> None:
        """The exam that listed the eye for its first operation: the sight that later ones compare with."""
        rng = Random(day.toordinal())
        exam = ExamEntry(
            side=self.side,
            pressure=str(findings.pressure(rng, raised=0.0)),
            retina="detached_macula_off" if indication in _DETACHED else "attached",
            hole="open" if self.has_hole else "no_hole",
            lens=self.lens,
            tamponade_seen="none",
            acuities=(AcuityEntry(findings.written(self.before, self.style, rng), "best"),),
        )
        self.events.append(Seen(day, (exam,), self.surgeon, "Listed for surgery."))

    # Signatures

    def sign(self, day: date, kind: str, reason: str, **details: Any) -> None:
        self.events.append(Signed(day, self.side, kind, reason, surgeon=self.surgeon, **details))

    # Findings

    def _exam(self, day: date, found: dict[str, Any]) -> ExamEntry:
        usual = self._usual(day, detached=str(found.get("retina", "")).startswith("detached"))
        told = {name: value for name, value in found.items() if name != "acuity"}
        if "acuity" in found:
            told["acuities"] = (AcuityEntry(found["acuity"], "best"),)
        if "pressure" in found:
            told.setdefault("complications", ())
        return replace(usual, **told)

    def _usual(self, day: date, *, detached: bool) -> ExamEntry:
        days = (day - self.anchor).days
        gas = 0 if self.holds_oil else findings.gas_left(self.tamponade, days)
        logmar = self._sight(days, gas, detached)
        mmhg = findings.pressure(self.rng, raised=0.14 if self.holds_oil else 0.05)
        self._age_lens(days)
        return ExamEntry(
            side=self.side,
            pressure=str(mmhg),
            retina="attached",
            hole=self._hole(days, gas),
            outer_retina=self.rng.choice(("intact", "disrupted")) if days > 25 else "not_examined",
            lens=self.lens,
            tamponade_seen=self._tamponade_seen(gas),
            fill_percent=gas or None,
            complications=tuple(self._complications(day, mmhg)),
            acuities=findings.acuities(logmar, self.style, self.rng),
        )

    def _sight(self, days: int, gas: int, detached: bool) -> float:
        if gas > 60:
            return 2.2
        healing = self.after + (self.before - self.after) * exp(-days / _HEALS_DAYS)
        burden = (0.3 if self.holds_oil else 0) + (0.2 if self.lens == "cataract" else 0) + gas / 100
        loss = 0.9 if detached else 0
        return healing + burden + loss + self.rng.gauss(0, 0.06)

    def _hole(self, days: int, gas: int) -> str:
        if not self.has_hole:
            return "no_hole"
        if days < 20 or gas > 40:
            return "not_visible"
        return "closed" if self.after < 0.9 else "flat_open"

    def _tamponade_seen(self, gas: int) -> str:
        kind = Tamponade(self.tamponade).kind
        if kind.must_come_out:
            return kind.value
        if kind is TamponadeKind.UNKNOWN:
            return "not_examined"
        return "bubble" if gas else "none"

    def _age_lens(self, days: int) -> None:
        """Cataract after vitrectomy is expected (common practice)."""
        if self.lens == "phakic" and days > 60 and self.rng.random() < 0.2:
            self.lens = "cataract"

    def _complications(self, day: date, mmhg: int) -> list[str]:
        oil_days = (day - self.placed_on).days if self.holds_oil else 0
        chances = {
            "raised_pressure": 1.0 if mmhg > findings.RAISED_MMHG else 0.0,
            "cataract": 1.0 if self.lens == "cataract" else 0.0,
            "emulsification": 0.2 if oil_days > 75 else 0.0,
            "oil_in_front": 0.05 if oil_days > 60 else 0.0,
            "keratopathy": 0.1 if oil_days > 150 else 0.0,
            "epiretinal_membrane": 0.03 if (day - self.anchor).days > 80 else 0.0,
        }
        return [name for name, chance in chances.items() if self.rng.random() < chance]
