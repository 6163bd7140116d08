"""What a workbook says beside its values: hidden parts, colours, how it counts days, formulas."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TypeAlias

from followup.domain.errors import BadValue

MOST_COLUMNS = 500
MOST_ROWS = 200_000
MOST_CELLS = 5_000_000
"""Filled cells of one sheet, and the rectangle that spans them; a log of operations has far fewer."""

FORMULA, FRACTION = "formula", "fraction"

Range: TypeAlias = tuple[tuple[int, int], tuple[int, int]]
"""First and last cell, as row and column from zero; both belong to it."""


@dataclass(slots=True)
class Markup:
    """One sheet of a workbook, its values left out; rows and columns count from zero.

    answers: what to read where a formula failed or has no stored result; marks: by row and column, cells that
    are the result of a formula or a number shown as a fraction; rows, columns: the extent of what is filled;
    dates_1904: whether days count from 1904.
    """

    answers: dict[tuple[int, int], str] = field(default_factory=dict)
    marks: dict[int, dict[int, str]] = field(default_factory=dict)
    hidden_rows: list[int] = field(default_factory=list)
    hidden_columns: list[int] = field(default_factory=list)
    merged: list[Range] = field(default_factory=list)
    coloured: int = 0
    dates_1904: bool = False
    rows: int = 0
    columns: int = 0
    cells: int = 0

    def fill(self, row: int, column: int, times: int = 1) -> None:
        """Counts a cell that holds something. Raises BadValue once the sheet is too large to take in."""
        self.rows, self.columns = max(self.rows, row + 1), max(self.columns, column + 1)
        self.cells += times
        if self.columns > MOST_COLUMNS:
            raise BadValue(
                f"The sheet has a filled cell in column {self.columns}; at most {MOST_COLUMNS} columns are "
                "taken. Save the columns that matter as a sheet of their own.",
                field="file",
            )
        if self.rows > MOST_ROWS + 1:
            raise BadValue(
                f"The sheet has a filled cell in row {self.rows:,}, more than {MOST_ROWS:,} rows. Split it.",
                field="file",
            )
        if max(self.cells, self.rows * self.columns) > MOST_CELLS:
            raise BadValue(
                f"The sheet spans more than {MOST_CELLS:,} cells. Save the part that matters as CSV.",
                field="file",
            )

    @property
    def is_filled(self) -> bool:
        return self.rows > 0

    def notes(self) -> list[str]:
        """What a person should know before the sheet is taken in."""
        notes = []
        hidden_rows = [row for row in self.hidden_rows if row < self.rows]
        hidden_columns = [column for column in self.hidden_columns if column < self.columns]
        if hidden_rows:
            notes.append(f"Hidden in the workbook, and read all the same: rows {spans(hidden_rows)}.")
        if hidden_columns:
            notes.append(f"Hidden in the workbook, and read all the same: columns {spans(hidden_columns)}.")
        if self.coloured:
            notes.append(
                f"{self.coloured} cells are coloured. Colours are not read: if one means something, "
                "write it in a column."
            )
        if self.dates_1904:
            notes.append("The workbook counts its days from 1904.")
        return notes


def spans(places: Iterable[int]) -> str:
    """Places from zero as people count them: 4 to 6, 9."""
    runs: list[list[int]] = []
    for place in sorted(set(places)):
        if runs and runs[-1][1] == place - 1:
            runs[-1][1] = place
        else:
            runs.append([place, place])
    shown = [str(first + 1) if first == last else f"{first + 1} to {last + 1}" for first, last in runs[:10]]
    return ", ".join(shown) + (" and more" if len(runs) > 10 else "")
