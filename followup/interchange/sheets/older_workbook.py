"""XLS, the binary workbooks of older programs: values and markup of one sheet."""

from __future__ import annotations

import io
import struct
from datetime import time
from typing import Any

import xlrd

from followup.domain.errors import BadValue
from followup.interchange.sheets.markup import Markup

_DAMAGED = (xlrd.XLRDError, struct.error, AssertionError, LookupError, ValueError, TypeError, EOFError)


class OlderBook:
    """Opens a workbook. Raises BadValue for one that is locked, damaged or of another kind."""

    def __init__(self, content: bytes) -> None:
        try:
            # What it prints about odd files belongs in no log.
            self._book: Any = xlrd.open_workbook(
                file_contents=content,
                logfile=io.StringIO(),
                on_demand=True,
                formatting_info=True,
                ragged_rows=True,
            )
        except _DAMAGED as fault:
            if "encrypted" in str(fault):
                raise BadValue(
                    "The workbook is locked by a password. Save it without one.", field="file"
                ) from None
            raise BadValue(
                "The workbook cannot be opened: it is damaged or of another kind. Save it as XLSX or CSV.",
                field="file",
            ) from None

    @property
    def names(self) -> list[str]:
        return list(self._book.sheet_names())

    def read(self, name: str) -> tuple[list[list[object]], Markup]:
        """The rows of a sheet from row 1, ragged, and its markup. Raises BadValue."""
        try:
            return self._rows(self._book.sheet_by_name(name))
        except _DAMAGED:
            raise BadValue(
                f'The sheet "{name}" cannot be read: the workbook is damaged. Save it as XLSX or CSV.',
                field="file",
            ) from None

    def _rows(self, sheet: Any) -> tuple[list[list[object]], Markup]:
        markup = Markup(dates_1904=self._book.datemode == 1)
        rows = []
        for row in range(sheet.nrows):
            rows.append([self._value(cell) for cell in sheet.row(row)])
            for column, cell in enumerate(sheet.row(row)):
                if cell.ctype not in (xlrd.XL_CELL_EMPTY, xlrd.XL_CELL_BLANK):
                    markup.fill(row, column)
                    markup.coloured += self._is_coloured(cell)
        markup.hidden_rows = [row for row, info in sheet.rowinfo_map.items() if info.hidden]
        markup.hidden_columns = [column for column, info in sheet.colinfo_map.items() if info.hidden]
        markup.merged = [
            ((top, left), (below - 1, beside - 1)) for top, below, left, beside in sheet.merged_cells
        ]
        return rows, markup

    def _value(self, cell: Any) -> object:
        if cell.ctype == xlrd.XL_CELL_ERROR:
            return xlrd.error_text_from_code.get(cell.value, "#REF!")
        if cell.ctype == xlrd.XL_CELL_BOOLEAN:
            return bool(cell.value)
        if cell.ctype == xlrd.XL_CELL_DATE:
            return self._moment(cell.value)
        return cell.value

    def _moment(self, serial: float) -> object:
        """A number formatted as a date; one that no calendar holds stays a number."""
        try:
            if serial < 1:
                hour, minute, second = xlrd.xldate_as_tuple(serial, self._book.datemode)[3:]
                return time(hour, minute, second)
            return xlrd.xldate.xldate_as_datetime(serial, self._book.datemode)
        except (xlrd.xldate.XLDateError, OverflowError, ValueError):
            return serial

    def _is_coloured(self, cell: Any) -> bool:
        return bool(self._book.xf_list[cell.xf_index].background.fill_pattern)
