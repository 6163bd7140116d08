"""What an examiner finds and how it is written down, drawn at random."""

from __future__ import annotations

from random import Random

from followup.services.visits import AcuityEntry

_METRES = (
    (-0.08, "6/5"),
    (0.0, "6/6"),
    (0.18, "6/9"),
    (0.3, "6/12"),
    (0.48, "6/18"),
    (0.6, "6/24"),
    (0.78, "6/36"),
)
_FEET = tuple(f"20/{letter}" for letter in (20, 25, 32, 40, 50, 63, 80, 100, 125, 160, 200))
"""A line for each 0.1 logMAR."""
_BELOW_CHART = ((1.3, "3/60"), (1.6, "CF 2m"), (1.9, "CF 1m"), (2.4, "HM"))
_STYLES = ("metre", "metre", "metre", "foot", "decimal", "comma", "letters", "logmar")
_GAS_LASTS_DAYS = {"air": 6, "sf6": 14, "c2f6": 35, "c3f8": 58}
"""Within the published ranges (Int J Retina Vitreous 2024, doi 10.1186/s40942-024-00530-y)."""
RAISED_MMHG = 25


def style(rng: Random) -> str:
    """How one clinic nurse or examiner tends to write acuity."""
    return rng.choice(_STYLES)


def written(logmar: float, style: str, rng: Random) -> str:
    """The acuity as somebody writes it: on the chart in their style, below it in words."""
    if logmar > 1.05:
        return next((words for limit, words in _BELOW_CHART if logmar <= limit), "LP")
    steps = max(0, round(logmar * 10))
    match style:
        case "foot":
            return _FEET[steps]
        case "decimal":
            return f"{max(0.1, 10**-logmar):.2f}"
        case "comma":
            return f"{max(0.1, 10**-logmar):.1f}".replace(".", ",")
        case "letters":
            return f"{round(85 - 50 * logmar)} letters"
        case "logmar":
            return f"{max(logmar, 0):.2f} logMAR"
    return _in_metres(logmar, rng)


def _in_metres(logmar: float, rng: Random) -> str:
    line = next((text for limit, text in _METRES if logmar <= limit + 0.08), "6/60")
    return line + rng.choice(("", "", "", "-1", "-2", "+1"))


def acuities(logmar: float, style: str, rng: Random) -> tuple[AcuityEntry, ...]:
    """One reading, or the one with own glasses and a better one through the pinhole."""
    if logmar <= 1.0 and rng.random() < 0.2:
        own = AcuityEntry(written(logmar + 0.15, style, rng), "habitual")
        return own, AcuityEntry(written(logmar, style, rng), "pinhole")
    return (AcuityEntry(written(logmar, style, rng), rng.choice(("best", "best", "best", "habitual"))),)


def pressure(rng: Random, *, raised: float) -> int:
    """mmHg; `raised` is the share of eyes above the usual."""
    if rng.random() < raised:
        return rng.randint(RAISED_MMHG + 1, 38)
    return min(RAISED_MMHG, max(8, round(rng.gauss(15.5, 3))))


def gas_left(tamponade: str, days: int) -> int:
    """Per cent of the eye still filled with gas or air so many days after the operation."""
    lasts = _GAS_LASTS_DAYS.get(tamponade, 0)
    return max(0, 5 * round(20 * (1 - days / lasts))) if lasts else 0
