"""Files as clinics have them become headings and rows; what is no table is refused with the reason."""

from __future__ import annotations

import io
import zipfile
from datetime import date, datetime

import openpyxl
import pytest

from followup.domain.errors import BadValue
from followup.interchange.sheets.read import read_sheet

HEAD = "record,name,eye"
ROW = "0012,Müller,R"


@pytest.mark.parametrize(
    ("content", "encoding"),
    [
        (f"{HEAD}\n{ROW}\n".encode(), "utf-8"),
        (f"{HEAD}\r\n{ROW}\r\n".encode("utf-8-sig"), "utf-8-sig"),
        (f"{HEAD}\n{ROW}\n".encode("utf-16"), "utf-16"),
        (f"{HEAD}\n{ROW}\n".encode("utf-16-le"), "utf-16-le"),
        (f"{HEAD}\n{ROW}\n".encode("utf-16-be"), "utf-16-be"),
        (f"{HEAD}\n{ROW}\n".encode("cp1252"), "cp1252"),
    ],
)
def test_any_common_encoding_gives_the_same_rows(content: bytes, encoding: str) -> None:
    sheet = read_sheet(content)
    assert sheet.headers == ("record", "name", "eye")
    assert [(row.number, row.cells) for row in sheet.rows] == [(2, ("0012", "Müller", "R"))]
    assert sheet.encoding == encoding


def test_arabic_of_an_older_program_is_a_guess_shown_with_a_sample() -> None:
    sheet = read_sheet("رقم,العين\n0012,اليمنى\n".encode("cp1256"))
    assert sheet.rows[0].cells == ("0012", "اليمنى")
    assert any("cp1256" in note and "العين" in note for note in sheet.notes)


def test_a_named_encoding_outweighs_the_guess() -> None:
    content = "no,name\n1,مريض\n".encode("cp1256")
    assert read_sheet(content, encoding="cp1252").rows[0].cells[1] != "مريض"


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_the_separator_is_found(separator: str) -> None:
    text = f"no{separator}va\n0012{separator}0.5\n0013{separator}0.8\n"
    sheet = read_sheet(text.encode())
    assert (sheet.separator, sheet.headers) == (separator, ("no", "va"))


def test_decimal_commas_do_not_hide_the_semicolons() -> None:
    sheet = read_sheet(b"no;va;iop\n0012;0,5;14\n0013;1,0;15\n")
    assert sheet.rows[0].cells == ("0012", "0,5", "14")


def test_row_numbers_count_records_as_a_spreadsheet_does() -> None:
    sheet = read_sheet(b'no,note\n0012,"two\nlines"\n\n0013,x\n\n\n')
    assert [(row.number, row.ignored) for row in sheet.rows] == [(2, ""), (3, "blank"), (4, "")]


def test_line_ends_translated_twice_do_not_double_the_rows() -> None:
    assert [row.number for row in read_sheet(b"no,va\r\r\n1,6/9\r\r\n2,6/9\r\r\n").rows] == [2, 3]


def test_headings_without_a_name_or_with_the_same_one_are_told_apart() -> None:
    sheet = read_sheet(b"no,,va,va\n1,2,3,4\n")
    assert sheet.headers == ("no", "Column 2", "va", "va (2)")
    assert len([note for note in sheet.notes if "heading" in note]) == 2


def test_totals_headings_and_blank_rows_are_ignored_and_said_so() -> None:
    sheet = read_sheet(b"no,name,eye\n1,A,R\n,,\nSecond list,,\nno,name,eye\n2,B,L\nTotal,2,\n")
    assert [row.ignored for row in sheet.rows] == [
        "",
        "blank",
        "a heading",
        "the headings again",
        "",
        "a total",
    ]


def _workbook(*rows: tuple[object, ...], **sheets: tuple[tuple[object, ...], ...]) -> bytes:
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    for name, lines in sheets.items():
        extra = book.create_sheet(name)
        for line in lines:
            extra.append(line)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def test_dates_of_a_workbook_stay_dates_and_numbers_lose_no_digit() -> None:
    late = datetime.fromisoformat("2024-09-06T23:30")
    content = _workbook(("no", "seen", "va"), ("0012", date(2024, 9, 6), 0.5), (13, late, 6))
    rows = read_sheet(content).rows
    assert rows[0].cells == ("0012", date(2024, 9, 6), "0.5")
    assert rows[1].cells == ("13", late, "6")


def test_another_sheet_is_read_when_named_and_mentioned_when_not() -> None:
    content = _workbook(("no",), ("1",), Second=(("no",), ("2",)))
    assert "Second" in read_sheet(content).notes[0]
    assert read_sheet(content, sheet="Second").rows[0].cells == ("2",)
    with pytest.raises(BadValue, match=r"Third.*It has: Sheet, Second"):
        read_sheet(content, sheet="Third")


def _bomb() -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", b"0" * 5_000_000)
    return stream.getvalue()


@pytest.mark.parametrize(
    ("content", "limit", "message"),
    [
        (b"", None, "The file is empty"),
        (b" \n\n ", None, "The file is empty"),
        (b",,\n,,\n", None, "holds no cell"),
        (b"%PDF-1.7 ...", None, "This is a PDF, not a table"),
        (b"\x89PNG\r\n\x1a\n", None, "This is a picture"),
        (b"PK\x03\x04 broken", None, "The workbook is damaged"),
        (b"\xd0\xcf\x11\xe0" + b"\x00" * 600, None, "cannot be opened"),
        (b"no,va\x00\n1,2\n", None, "not a table of text"),
        (b'no,va\n1,"open\n2,x\n', None, "quotation mark that is not closed"),
        (b"no,va\n" + b"1,2\n" * 1000, 1000, "at most 0 MB"),
        (b",".join(b"c%d" % place for place in range(501)) + b"\n1\n", None, "501 columns"),
        (b"no\n" + b"\n" * 200_001 + b"1\n", None, "more than 200,000 rows"),
        (_bomb(), 100_000, "unpacks to more than 1 MB"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_what_is_no_table_is_refused_with_the_reason(content: bytes, limit: int | None, message: str) -> None:
    with pytest.raises(BadValue) as refusal:
        read_sheet(content, limit=limit)
    assert message in refusal.value.message
    assert refusal.value.field == "file"
