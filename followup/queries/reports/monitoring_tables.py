"""A cohort quarter by quarter in words: two tables, the running excess, and what they cannot show."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from followup.domain.survival.control import Excess, Range
from followup.domain.survival.values import NOT_ESTIMABLE
from followup.queries.cohort_choice import CohortChoice
from followup.queries.reports.audit_tables import Cell, Line, Table, percent, share_cells, whole
from followup.queries.reports.monitoring import SIX_MONTHS, Chart, Monitoring, Point, Signal, key_of

CANNOT_SHOW = (
    "Why a quarter differs: other eyes, other operations, fuller records and better care look the same.",
    "A small change in few eyes. Wide limits do not mean that all is well.",
    "That every signal is real: of twenty quarters about one lies outside the 95 % limits by chance alone, "
    "of five hundred about one outside the 99.8 % limits.",
    "What became of the eyes that are left out. Where many are, look for them before judging the share.",
    "Two eyes of one person as one: eyes are taken as independent, so the limits may be too narrow.",
)
EXCESS_NOTE = (
    "Seen less expected, eye by eye in the order of their starts: it climbs while there are more events than "
    "expected, and the slope matters more than the height. The range is that of each point alone; a long "
    "line leaves it somewhere more often than one time in twenty."
)


@dataclass(frozen=True, slots=True)
class MonitoringWords:
    recurrence: Table
    oil: Table
    excess: str
    """Where the running line ends, as a sentence."""


def monitoring_words(found: Monitoring, choice: CohortChoice) -> MonitoringWords:
    event = choice.event.label
    return MonitoringWords(
        recurrence=_table(
            found.recurrence,
            caption=f"{event} within 6 months, by the quarter in which the clock started",
            heads=("With the event", "Not known at 6 months"),
            chart="six_months",
            note=f"Known: the event by day {SIX_MONTHS.day}, or seen without it on day {SIX_MONTHS.opens} or "
            "later. A quarter is judged once its last eye could have come to its six months' visit, on day "
            f"{SIX_MONTHS.closes}. Primary failures are in no quarter.",
        ),
        oil=_table(
            found.oil,
            caption="Oil out within the limit, by the quarter in which the removal window closed",
            heads=("Out in time", "Kept by a decision"),
            chart="oil_limit",
            note="A quarter is judged once it is over. Oil kept by a decision in force on the last day of "
            "its window is not judged.",
        ),
        excess=excess_words(found.excess, found.expected),
    )


def excess_words(steps: Sequence[Excess], expected: float | None) -> str:
    if expected is None:
        return "This clinic has set no expected rate, so nothing is drawn."
    if not steps:
        return "No quarter can be judged yet, so nothing is drawn."
    last = steps[-1]
    return (
        f"After {last.eyes} eyes: {last.events} with the event, {last.eyes * expected:.1f} expected at "
        f"{percent(expected)}; {last.difference:+.1f}. Chance alone gives {last.lower:+.1f} to "
        f"{last.upper:+.1f} (95 %)."
    )


def sheet_rows(found: Monitoring, words: MonitoringWords) -> Iterator[Sequence[object]]:
    """Both tables one below the other, then the running line."""
    for table in (words.recurrence, words.oil):
        yield (table.caption,)
        yield table.head
        for line in table.lines:
            yield (line.label, *(int(cell.text) if cell.is_number else cell.text for cell in line.cells))
        yield ()
    yield ("Events seen less expected",)
    yield ("Eyes", "Events", "Seen less expected", "Range from", "Range to")
    for step in found.excess:
        yield (step.eyes, step.events, *(round(one, 4) for one in (step.difference, step.lower, step.upper)))


def _table(found: Chart, *, caption: str, heads: tuple[str, str], chart: str, note: str) -> Table:
    event, left_out = heads
    centre = "not estimable yet" if found.centre is NOT_ESTIMABLE else percent(found.centre)
    return Table(
        caption,
        (
            "Quarter",
            event,
            "Share",
            "95 % interval",
            "By chance 95 %",
            "By chance 99.8 %",
            left_out,
            "Reading",
        ),
        tuple(Line(str(point.quarter), tuple(_cells(point, chart))) for point in found.points),
        f"All judged quarters together: {centre}. {note}",
    )


def _cells(point: Point, chart: str) -> Iterator[Cell]:
    def behind(part: str) -> str:
        return key_of(chart, point.quarter, part)

    part = "events" if point.share.events else "judged"
    counted, *share = share_cells(point.share, behind(part) if point.share.total else "")
    yield counted
    # Events come first and eyes free of them later: an early share would frighten.
    yield from share if point.signal is not Signal.TOO_EARLY else [Cell("")] * len(share)
    yield Cell(_range(point.warning, point.share.total))
    yield Cell(_range(point.action, point.share.total))
    yield whole(point.left_out, behind("left_out"))
    yield Cell(point.reading)


def _range(found: Range | None, total: int) -> str:
    return f"{found.lower} to {found.upper} of {total}" if found else ""
