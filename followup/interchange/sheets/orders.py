"""Whether the dates of a column are day first or month first, told from all of them together."""

from __future__ import annotations

import re
from collections.abc import Iterable

from followup.interchange.sheets.cells import tidy
from followup.interchange.sheets.column_map import ColumnUse
from followup.interchange.sheets.dates import DateOrder
from followup.interchange.sheets.read import Sheet

DATES = frozenset(("birth_date", "operation_date", "visit_date"))
"""Import columns that hold dates."""

_ENTRY = re.compile(r"([0-9]{1,2})[-/.]([0-9]{1,2})[-/.][0-9]{2,4}(?!\d).*")
_ISO = re.compile(r"[0-9]{4}[-/.][0-9]{1,2}[-/.][0-9]{1,2}.*")


def date_order(texts: Iterable[str]) -> DateOrder | None:
    """How a column writes its dates, where a day above 12 or the year first tells; else None."""
    found = list(texts)
    orders = orders_in(found)
    if orders is None:
        return "iso" if any(_ISO.fullmatch(text) for text in found) else None
    day_first, month_first = orders
    if day_first == month_first:
        return None
    return "day_first" if day_first else "month_first"


def orders_in(texts: Iterable[str]) -> tuple[bool, bool] | None:
    """Whether some dates can only be day first, and some only month first; None where none has that form."""
    pairs = [(int(found[1]), int(found[2])) for text in texts if (found := _ENTRY.fullmatch(text))]
    if not pairs:
        return None
    return any(first > 12 for first, _ in pairs), any(second > 12 for _, second in pairs)


def writes_both_orders(use: ColumnUse, sheet: Sheet) -> bool:
    """Whether a column of dates has some of both kinds, so that those that fit both cannot be trusted."""
    if use.target not in DATES or use.column not in sheet.headers:
        return False
    place = sheet.headers.index(use.column)
    texts = (tidy(row.cells[place]) for row in sheet.rows if not row.ignored and place < len(row.cells))
    return orders_in(texts) == (True, True)
