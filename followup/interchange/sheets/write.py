"""Rows written out as CSV, so that a spreadsheet shows them as text and runs nothing."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import TextIO

from followup.interchange.sheets.cells import MADE_HARMLESS, RUN_BY_SPREADSHEETS, Measured
from followup.models import ImportRow

_TELEPHONE = re.compile(r"\+[0-9 ]{6,20}")
_SIGNED = re.compile(r"[+-][0-9]+(?:[.,][0-9]+)?")
HOW_TEXT_STANDS = (
    "In CSV, text that a spreadsheet would run as a formula (it begins with = + - @, their wide forms, a tab "
    "or the end of a line) stands behind an apostrophe, and such text behind apostrophes behind one more; "
    "without the first apostrophe it is as it was. Never so: numbers, 6/9+1, a number with its sign that was "
    "read (+1, -0.10), and telephone numbers. A spreadsheet shows a bare +1 as 1: take its column in as "
    "text, or choose XLSX, where every text stands as it is."
)
"""The rule of `harmless`, for whoever reads a file that was written so."""
REASON = "Why it was left out"


def harmless(cell: object) -> str:
    """A cell as text that no spreadsheet takes for a formula: by HOW_TEXT_STANDS, and so that no two texts
    are written alike.
    """
    if isinstance(cell, int | float | Decimal):
        return str(cell)
    text = str(cell)
    if text.startswith(RUN_BY_SPREADSHEETS):
        is_number = _TELEPHONE.fullmatch(text) or (isinstance(cell, Measured) and _SIGNED.fullmatch(text))
        return text if is_number else f"'{text}"
    return f"'{text}" if MADE_HARMLESS.match(text) else text


def csv_text(rows: Iterable[Sequence[object]], *, separator: str = ",") -> str:
    """Rows as CSV in UTF-8 with the mark that spreadsheets look for."""
    stream = io.StringIO(newline="")
    write_csv(stream, rows, separator=separator)
    return stream.getvalue()


def write_csv(stream: TextIO, rows: Iterable[Sequence[object]], *, separator: str = ",") -> None:
    """The same, row by row, to a stream opened with newline=""."""
    stream.write("\ufeff")
    csv.writer(stream, delimiter=separator).writerows([harmless(cell) for cell in row] for row in rows)


def problem_rows(rows: Iterable[ImportRow], headers: Sequence[str], *, separator: str = ",") -> str:
    """The rows left out as the file has them, and one column more with all that is said against each.

    Put right, the same file comes back in by the same map, which does not know the added column.
    """
    return csv_text([(*headers, REASON), *(_line(row, headers) for row in rows)], separator=separator)


def _line(row: ImportRow, headers: Sequence[str]) -> tuple[object, ...]:
    said = (problem for problem in row.problems if problem["kind"] in ("human", "refused"))
    reasons = [f"{one['column']}: {one['reason']}" if one["column"] else one["reason"] for one in said]
    return (*(row.cells.get(name, "") for name in headers), f"Row {row.number}: {' '.join(reasons)}")
