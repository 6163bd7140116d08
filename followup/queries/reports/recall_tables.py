"""The measures of recall as tables, for the page and for the sheet alike."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from followup.domain.survival.binomial import Proportion
from followup.queries.reports.audit_tables import Cell, Line, Table, limits, percent
from followup.queries.reports.recall_measures import Month, Overdue


def recall_tables(months: Sequence[Month]) -> list[Table]:
    """One line a month, the present one first."""
    return [
        Table(
            "Overdue at the month's end",
            (
                "Month until",
                "Reviews: eyes",
                "Median days past the window",
                "Worst",
                "Removals: eyes",
                "Median days past the limit",
                "Worst",
            ),
            tuple(Line(_until(month), tuple(_overdue(month.overdue))) for month in months),
            "Counted from what is known now.",
        ),
        Table(
            "Reached, by step of the ladder",
            ("Month until", *(title for title, _ in months[0].reached_at)),
            tuple(
                Line(_until(month), tuple(_number(count) for _, count in month.reached_at))
                for month in months
            ),
            "The step that was next when somebody answered.",
        ),
        Table(
            "Not attended, with and without a reminder",
            (
                "Month until",
                *_share_head("Reminded: not attended"),
                *_share_head("Not reminded: not attended"),
                "Why",
            ),
            tuple(
                Line(
                    _until(month),
                    (*_share(month.reminded), *_share(month.not_reminded), Cell(_reasons(month))),
                )
                for month in months
            ),
            "Reviews whose outcome is known. People who get reminders differ from those who do not: the "
            "difference is not the reminder's effect.",
        ),
        Table(
            "Oil and heavy liquid out within the limit",
            ("Month until", *_share_head("Out in time, of limits in the month"), "Kept by decision"),
            tuple(Line(_until(month), (*_share(month.out_in_time), _number(month.kept))) for month in months),
        ),
    ]


def sheet_rows(tables: Sequence[Table]) -> Iterator[list[str]]:
    """The same numbers as a sheet: each table with its heading, then a line a month."""
    for table in tables:
        yield [table.caption]
        yield list(table.head)
        for line in table.lines:
            yield [line.label, *(cell.text for cell in line.cells)]
        yield []


def _until(month: Month) -> str:
    return month.ends.isoformat()


def _number(value: float | None) -> Cell:
    return Cell("none" if value is None else f"{value:g}", is_number=True)


def _overdue(lanes: Sequence[Overdue]) -> Iterator[Cell]:
    for lane in lanes:
        yield from (_number(lane.eyes), _number(lane.median_days), _number(lane.worst_days))


def _share_head(what: str) -> tuple[str, str, str]:
    return what, "Share", "95 % exact interval"


def _share(found: Proportion) -> tuple[Cell, Cell, Cell]:
    return (
        Cell(f"{found.events} of {found.total}"),
        Cell(percent(found.share)),
        Cell(limits(found.lower, found.upper)),
    )


def _reasons(month: Month) -> str:
    return "; ".join(f"{label} {count}" for label, count in month.reasons) or "nobody"
