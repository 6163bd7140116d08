"""XLSX, XLS and ODS alike: values, dates of both systems, merged, hidden and failed cells, several sheets."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterable
from datetime import date, datetime
from html import escape

import openpyxl
import pytest
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from followup.domain.errors import BadValue
from followup.interchange.sheets.read import read_sheet
from tests.interchange.sheets.helpers import SHEETS

_ODS = (
    'xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
    'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" '
    'xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0"'
)


def ods_cell(shown: str, attributes: str = 'office:value-type="string"') -> str:
    return f"<table:table-cell {attributes}><text:p>{escape(shown)}</text:p></table:table-cell>"


def ods_row(*cells: str, attributes: str = "") -> str:
    return f"<table:table-row {attributes}>{''.join(cells)}</table:table-row>"


def ods(rows: Iterable[str], columns: str = "") -> bytes:
    """A workbook of one sheet called Log, from the XML of its rows."""
    table = f'<table:table table:name="Log">{columns}{"".join(rows)}</table:table>'
    content = (
        f"<?xml version='1.0'?><office:document-content {_ODS}><office:body><office:spreadsheet>{table}"
        "</office:spreadsheet></office:body></office:document-content>"
    )
    manifest = (
        "<manifest:manifest xmlns:manifest='urn:oasis:names:tc:opendocument:xmlns:manifest:1.0'>"
        "<manifest:file-entry manifest:full-path='/' "
        "manifest:media-type='application/vnd.oasis.opendocument.spreadsheet'/></manifest:manifest>"
    )
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("content.xml", content)
        archive.writestr("META-INF/manifest.xml", manifest)
    return stream.getvalue()


def saved(book: openpyxl.Workbook) -> bytes:
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def test_an_older_workbook_keeps_dates_merged_cells_and_failed_formulas() -> None:
    sheet = read_sheet((SHEETS / "faults" / "older_workbook.xls").read_bytes())
    assert (sheet.name, sheet.names, sheet.headers) == (
        "Log",
        ("Empty", "Log"),
        ("no", "eye", "operated", "va"),
    )
    assert [row.cells for row in sheet.rows] == [
        ("0012", "R", datetime.fromisoformat("2024-09-06"), "6/9"),
        ("0012", "L", datetime.fromisoformat("2024-09-06T23:30"), "0.5"),
        ("0014", "R", datetime.fromisoformat("2024-09-07"), "#REF!"),
        ("15", "R", datetime.fromisoformat("2024-09-08"), "6/6"),
    ]
    assert sheet.notes == (
        'Only the sheet "Log" was read, not Empty.',
        "Hidden in the workbook, and read all the same: rows 5.",
        "Hidden in the workbook, and read all the same: columns 2.",
        "1 cells are coloured. Colours are not read: if one means something, write it in a column.",
    )


def test_days_that_count_from_1904_are_the_same_days() -> None:
    older = read_sheet((SHEETS / "faults" / "older_workbook_1904.xls").read_bytes())
    assert older.rows[0].cells[1] == datetime.fromisoformat("2024-09-06")
    assert (older.rows[1].cells[1], older.dates_1904) == ("44079", True)
    book = openpyxl.Workbook()
    book.epoch = CALENDAR_MAC_1904
    book.active.append(["no", "operated"])
    book.active.append(["0012", date(2024, 9, 6)])
    newer = read_sheet(saved(book))
    assert newer.rows[0].cells[1] == date(2024, 9, 6)
    assert newer.dates_1904
    assert "The workbook counts its days from 1904." in newer.notes


def test_an_open_document_says_what_is_merged_hidden_repeated_or_failed() -> None:
    failed = 'table:formula="of:=1/0" office:value-type="string"'
    merged = 'office:value-type="string" table:number-rows-spanned="2" table:number-columns-spanned="1"'
    content = ods(
        [
            ods_row(*map(ods_cell, ("no", "eye", "operated", "va"))),
            ods_row(
                ods_cell("0012", merged),
                ods_cell("R"),
                ods_cell("06/09/24", 'office:value-type="date" office:date-value="2024-09-06"'),
                ods_cell("6/9"),
            ),
            ods_row("<table:covered-table-cell/>", ods_cell("L"), "<table:table-cell/>", ods_cell("6/12")),
            ods_row(
                ods_cell("0014"),
                ods_cell("R"),
                "<table:table-cell/>",
                ods_cell("#DIV/0!", failed),
                attributes='table:visibility="collapse"',
            ),
            ods_row(
                '<table:table-cell table:number-columns-repeated="16384"/>',
                attributes='table:number-rows-repeated="1048000"',
            ),
        ],
        columns='<table:table-column table:visibility="collapse"/>',
    )
    sheet = read_sheet(content)
    assert [row.cells for row in sheet.rows] == [
        ("0012", "R", date(2024, 9, 6), "6/9"),
        ("0012", "L", "", "6/12"),
        ("0014", "R", "", "#DIV/0!"),
    ]
    assert sheet.notes == (
        "Hidden in the workbook, and read all the same: rows 4.",
        "Hidden in the workbook, and read all the same: columns 1.",
    )


def test_the_first_visible_sheet_is_read_and_a_hidden_one_when_named() -> None:
    book = openpyxl.Workbook()
    book.active.title = "Lists"
    book.active.append(["no", "eye"])
    book.active.sheet_state = "hidden"
    log = book.create_sheet("Log")
    log.append(["no", "eye"])
    log.append(["0012", "R"])
    content = saved(book)
    assert read_sheet(content).name == "Log"
    assert read_sheet(content).notes == ('Only the sheet "Log" was read, not Lists (hidden).',)
    assert 'The sheet "Lists" is hidden in the workbook.' in read_sheet(content, sheet="Lists").notes


def test_headings_are_found_below_titles_and_can_be_named() -> None:
    content = b"Vitreoretinal log,,\nprinted 6 September 2024,,\n,,\nRecord no,Eye,VA\n0012,R,6/9\n"
    sheet = read_sheet(content)
    assert (sheet.heading_row, sheet.headers) == (4, ("Record no", "Eye", "VA"))
    assert [row.number for row in sheet.rows] == [5]
    assert read_sheet(content, headings=5).headers == ("0012", "R", "6/9")
    with pytest.raises(BadValue, match="Row 3 holds no heading"):
        read_sheet(content, headings=3)


def test_headings_that_nobody_knows_are_the_first_wide_row() -> None:
    sheet = read_sheet(b"Our list;;\nalpha;beta;gamma\n1;2;3\n")
    assert (sheet.heading_row, sheet.headers) == (2, ("alpha", "beta", "gamma"))


def test_a_separator_named_in_the_first_line_is_taken_and_is_no_row() -> None:
    sheet = read_sheet(b"sep=;\r\nno;va\r\n0012;0,5\r\n")
    assert (sheet.headers, sheet.separator) == (("no", "va"), ";")
    assert [(row.number, row.cells) for row in sheet.rows] == [(3, ("0012", "0,5"))]


def test_long_numbers_of_a_workbook_are_not_taken_for_codes() -> None:
    book = openpyxl.Workbook()
    book.active.append(["no", "phone"])
    book.active.append([1234567890123456, 447700900012])
    assert read_sheet(saved(book)).rows[0].cells == ("1.234568E+15", "447700900012")


def test_a_heading_merged_across_columns_is_not_multiplied() -> None:
    book = openpyxl.Workbook()
    book.active.append(["no", "eye", "va"])
    book.active.append(["Operations of 2024"])
    book.active.merge_cells("A2:C2")
    book.active.append(["0012", "R", "6/9"])
    assert [row.ignored for row in read_sheet(saved(book)).rows] == ["a heading", ""]
