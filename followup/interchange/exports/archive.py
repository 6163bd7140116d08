"""A full export as one file: a table a sheet, a data dictionary, and the maps to take it in again.

Row by row to the disk: memory does not grow with the records.
"""

from __future__ import annotations

import io
import json
import zipfile
from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import date, time
from decimal import Decimal
from typing import Any, BinaryIO

from followup.interchange.exports.maps import map_of
from followup.interchange.sheets.cells import Measured
from followup.interchange.sheets.column_map import stored_map
from followup.interchange.sheets.write import HOW_TEXT_STANDS, write_csv
from followup.interchange.sheets.xlsx import write_workbook
from followup.models import Site
from followup.queries.takeout.fields import Field, Kind, Table
from followup.queries.takeout.people import Writer
from followup.queries.takeout.rows import columns_of, headings_of, rows_of
from followup.queries.takeout.tables import TABLES

FEW = 5
"""A value that fewer people than this share may single somebody out."""
_TOLD_APART = (Kind.CODE, Kind.CODES, Kind.STAFF, Kind.BORN)
"""Kinds of column by whose values people are counted: codes, and ages in place of days of birth."""
Cell = str | int | float | Decimal
Row = Sequence[Cell]

DICTIONARY_HEADINGS = ("table", "column", "meaning", "kind", "codes", "taken_in_again")
FEW_HEADINGS = ("table", "column", "value", "people")


class FullExport:
    """One export; `rows_written` counts what went out, once it is written."""

    def __init__(self, site: Site, writer: Writer, *, about: Sequence[str]) -> None:
        self._site, self._writer, self._about = site, writer, about
        self._people: defaultdict[tuple[str, str, str], set[str]] = defaultdict(set)
        self.rows_written = 0

    def write_zip(self, written: BinaryIO) -> None:
        with zipfile.ZipFile(written, "w", zipfile.ZIP_DEFLATED) as archive:
            for name, rows in self._sheets(numbered=True):
                with (
                    archive.open(f"{name}.csv", "w", force_zip64=True) as raw,
                    io.TextIOWrapper(raw, "utf-8", newline="") as text,
                ):
                    write_csv(text, rows)
            if self._writer.is_named:
                for place, table in enumerate(TABLES, 1):
                    if table.is_imported:
                        told = json.dumps(stored_map(map_of(table)), indent=1)
                        archive.writestr(f"maps/{_file_name(place, table)}.json", told)

    def write_xlsx(self, written: BinaryIO) -> None:
        write_workbook(written, self._sheets(numbered=False))

    def _sheets(self, *, numbered: bool) -> Iterator[tuple[str, Iterator[Row]]]:
        for place, table in enumerate(TABLES, 1):
            yield (_file_name(place, table) if numbered else table.name), self._table(table)
        yield "about", iter([("about",), *((line,) for line in self._about)])
        yield "dictionary", self._dictionary()
        if not self._writer.is_named:
            yield "small_counts", self._small_counts()

    def _table(self, table: Table) -> Iterator[Row]:
        headings, columns = headings_of(table, self._writer), columns_of(table, self._writer)
        keys = len(headings) - len(columns)
        as_read = [keys + place for place, column in enumerate(columns) if column.kind is Kind.TEXT]
        yield headings
        for row in rows_of(table, self._site, self._writer):
            self.rows_written += 1
            told = [cell_of(value) for value in row]
            for place in as_read:
                if isinstance(text := told[place], str):
                    told[place] = Measured(text)
            if keys:
                self._count(table, columns, told[keys:], str(told[0]))
            yield told

    def _count(self, table: Table, columns: Sequence[Field], told: Sequence[Cell], person: str) -> None:
        for column, cell in zip(columns, told, strict=True):
            if cell != "" and (column.kind in _TOLD_APART or column.name == "age"):
                found = self._people[table.name, self._writer.heading(column), str(cell)]
                if len(found) < FEW:
                    found.add(person)

    def _dictionary(self) -> Iterator[Row]:
        yield DICTIONARY_HEADINGS
        yield "", "", HOW_TEXT_STANDS, "rule of the CSV files", "", ""
        for table in TABLES:
            yield table.name, "", table.meaning, "table", "", ""
            for name in self._writer.key_names(of_eye=bool(table.eye)):
                yield (
                    table.name,
                    name,
                    f"Code of the {name}, the same in every table and export.",
                    "code",
                    "",
                    "",
                )
            for column in columns_of(table, self._writer):
                taken = self._writer.is_named and table.is_imported and column.imported
                told = column.meaning, self._writer.kind(column), _codes(column)
                yield table.name, self._writer.heading(column), *told, "yes" if taken else ""

    def _small_counts(self) -> Iterator[Row]:
        yield FEW_HEADINGS
        for (table, column, value), people in sorted(self._people.items()):
            if len(people) < FEW:
                yield table, column, value, len(people)


def cell_of(value: Any) -> Cell:
    """Text or a number: days by ISO 8601, truth as yes and no, nothing as an empty cell."""
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case date():
            return value.isoformat()
        case time():
            return value.isoformat("minutes")
        case int() | float() | Decimal():
            return value
    return str(value)


def _file_name(place: int, table: Table) -> str:
    return f"{place:02}-{table.name}"


def _codes(column: Field) -> str:
    return "; ".join(f"{term.value} = {term.label}" for term in column.terms) if column.terms else ""
