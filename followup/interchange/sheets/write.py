"""Rows written out as CSV, so that a spreadsheet shows them as text and runs nothing."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal

from followup.interchange.sheets.cells import RUN_BY_SPREADSHEETS
from followup.models import ImportRow

_TELEPHONE = re.compile(r"\+[0-9 ]{6,20}")
_HEAD = ("Row", "Outcome", "Column", "Value", "Reason")


def harmless(cell: object) -> str:
    """A cell as text that no spreadsheet takes for a formula: an apostrophe before = + - @ tab or return.

    Numbers stay numbers, and a telephone number keeps its plus, so that both come back as they were.
    """
    if isinstance(cell, int | float | Decimal):
        return str(cell)
    text = str(cell)
    if not text.startswith(RUN_BY_SPREADSHEETS) or _TELEPHONE.fullmatch(text):
        return text
    return f"'{text}"


def csv_text(rows: Iterable[Sequence[object]]) -> str:
    """Rows as CSV in UTF-8 with the mark that spreadsheets look for."""
    stream = io.StringIO(newline="")
    stream.write("\ufeff")
    csv.writer(stream).writerows([harmless(cell) for cell in row] for row in rows)
    return stream.getvalue()


def problem_rows(rows: Iterable[ImportRow], headers: Sequence[str]) -> str:
    """Rows with their raw cells, a line a problem, for whoever puts them right in the source."""
    return csv_text([(*_HEAD, *headers), *_lines(rows, headers)])


def _lines(rows: Iterable[ImportRow], headers: Sequence[str]) -> Iterator[tuple[object, ...]]:
    for row in rows:
        cells = [row.cells.get(name, "") for name in headers]
        for problem in row.problems:
            said = (problem["column"], problem["value"], problem["reason"])
            yield (row.number, row.get_outcome_display(), *said, *cells)
