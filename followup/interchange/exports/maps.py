"""The map by which each file of a full export is taken in again."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from followup.domain.acuity.notation import Notation
from followup.domain.words import Correction
from followup.interchange.sheets.column_map import ColumnMap, accepted_map
from followup.queries.takeout.fields import Kind, Table
from followup.queries.takeout.tables import ACUITY

_BARE = (Notation.DECIMAL, Notation.LOGMAR, Notation.LETTERS)
"""Notations in which a number may stand alone."""


def map_of(table: Table) -> ColumnMap:
    """For a file with names, of a table that can be taken in again."""
    taken = [
        column for column in table.fields if column.imported and column.name not in ("acuity", "reading")
    ]
    return accepted_map(
        {
            "name": f"Full export: {table.name}",
            # Of a workbook; a file of text has but one.
            "sheet": table.name,
            "shape": "visits" if any(column.name == "visit_date" for column in taken) else "operations",
            "columns": [
                *(
                    {"column": column.name, "target": column.name}
                    | ({"date_order": "iso"} if column.kind in (Kind.DAY, Kind.BORN) else {})
                    for column in taken
                ),
                *(_readings() if table is ACUITY else ()),
            ],
            "ignored": [column.name for column in table.fields if not column.imported],
        }
    )


def _readings() -> Iterator[dict[str, Any]]:
    """The one column of acuity, told apart by what another says of correction, notation and exactness."""
    for correction in Correction:
        for notation in Notation:
            for exact in (True, False):
                told = f"{correction} {notation}"
                yield {
                    "column": "acuity",
                    "target": "acuity",
                    "correction": correction,
                    "approximate": not exact,
                    "when": {"column": "reading", "values": [told if exact else f"{told} approximate"]},
                } | ({"notation": notation} if notation in _BARE else {})
