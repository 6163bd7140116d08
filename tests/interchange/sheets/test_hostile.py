"""Files made to do harm, or grown beyond sense: each is refused with its reason, within a bound of memory."""

from __future__ import annotations

import http.client
import os
import subprocess
import sys
import zipfile
from collections.abc import Callable, Iterator
from io import StringIO
from pathlib import Path
from urllib.parse import urlsplit

import openpyxl
import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse
from openpyxl.styles import Font
from pytest_django.live_server_helper import LiveServer

from followup.interchange.sheets.apply import take_sheet
from followup.models import ImportBatch, PathwayVersion, Site
from tests.builders import NOW, make_site, make_staff
from tests.interchange.sheets import reading_within
from tests.interchange.sheets.test_workbooks import ods, ods_cell, ods_row

_HEAD = '<?xml version="1.0"?>'
_LAUGHS = (
    '<!DOCTYPE x [<!ENTITY a "ha ha ha ha ha ha ha ha">'
    + "".join(f'<!ENTITY {chr(98 + level)} "{f"&{chr(97 + level)};" * 10}">' for level in range(9))
    + "]>"
)
_OUTSIDE = '<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/hostname">]>'
_MAIN = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
_LINK = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"


def xlsx(
    path: Path, cells: str, *, before: str = "", extra: Callable[[zipfile.ZipFile], None] | None = None
) -> None:
    """A workbook of one sheet from the XML of its rows; before: what stands ahead of the sheet's element."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(
            "[Content_Types].xml",
            f'{_HEAD}<Types xmlns="{_PACKAGE}/content-types">'
            '<Default Extension="xml" ContentType="application/xml"/></Types>',
        )
        archive.writestr(
            "xl/workbook.xml",
            f'{_HEAD}<workbook {_MAIN} xmlns:r="{_LINK}"><sheets><sheet name="Log" sheetId="1" r:id="r1"/>'
            "</sheets></workbook>",
        )
        archive.writestr(
            "xl/_rels/workbook.xml.rels",
            f'{_HEAD}<Relationships xmlns="{_PACKAGE}/relationships"><Relationship Id="r1" '
            f'Type="{_LINK}/worksheet" Target="worksheets/sheet1.xml"/></Relationships>',
        )
        archive.writestr(
            "xl/worksheets/sheet1.xml",
            f"{_HEAD}{before}<worksheet {_MAIN}><sheetData>{cells}</sheetData></worksheet>",
        )
        if extra:
            extra(archive)


def cell(reference: str, text: str = "x") -> str:
    row = reference.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
    return f'<row r="{row}"><c r="{reference}" t="inlineStr"><is><t>{text}</t></is></c></row>'


def _bomb(archive: zipfile.ZipFile) -> None:
    with archive.open("xl/sharedStrings.xml", "w", force_zip64=True) as part:
        for _ in range(600):
            part.write(b" " * 1_000_000)


def _far(path: Path) -> None:
    xlsx(path, cell("A1") + cell("XFD1048576"))


def _tall(path: Path) -> None:
    xlsx(path, cell("A1") + cell("A1048576"))


def _sparse(path: Path) -> None:
    xlsx(path, cell("A1") + cell("SF200000"))


def _repeated(path: Path) -> None:
    row = ods_row(ods_cell("x"), attributes='table:number-rows-repeated="1048576"')
    path.write_bytes(ods([row]))


def _wide(path: Path) -> None:
    path.write_bytes(b"no," + b",".join(b"c" for _ in range(1_000_000)) + b"\n1\n")


def _commas(path: Path) -> None:
    path.write_bytes(b"no,eye,va\n" + (b"1,R,6/9" + b"," * 1_000_000 + b"\n") * 30)


def _formats(path: Path) -> None:
    book = openpyxl.Workbook()
    book.active.append(["no"])
    book.active.append(["0012"])
    book.active.cell(1_048_576, 16_384).font = Font(bold=True)
    book.save(path)


FILES: dict[str, tuple[Callable[[Path], None], str]] = {
    "bomb.xlsx": (lambda path: xlsx(path, cell("A1"), extra=_bomb), "unpacks to more than 200 MB"),
    "laughs.xlsx": (lambda path: xlsx(path, cell("A1", "&j;"), before=_LAUGHS), "entities of its own"),
    "outside.xlsx": (lambda path: xlsx(path, cell("A1", "&a;"), before=_OUTSIDE), "entities of its own"),
    "far.xlsx": (_far, "a filled cell in column 16384"),
    "tall.xlsx": (_tall, "a filled cell in row 1,048,576"),
    "sparse.xlsx": (_sparse, "spans more than 5,000,000 cells"),
    "repeated.ods": (_repeated, "a filled cell in row 1,048,576"),
    "wide.csv": (_wide, "1,000,001 columns"),
    "commas.csv": (_commas, "30 rows"),
    "formats.xlsx": (_formats, "1 rows"),
    "large.csv": (lambda path: path.write_bytes(b"no,va\n" + b"1,6/9\n" * 35_000_000), "210.0 MB; at most"),
    "quote.csv": (
        lambda path: path.write_bytes(b'no,va\n1,"' + b"x" * 1_000_000),
        "cannot be split into cells",
    ),
}


def test_each_is_refused_with_its_reason_within_a_bound_of_memory(tmp_path: Path) -> None:
    paths = [tmp_path / name for name in FILES]
    for path in paths:
        FILES[path.name][0](path)
    done = subprocess.run(
        [sys.executable, "-m", reading_within.__name__, *map(str, paths)],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "DJANGO_SETTINGS_MODULE": "config.settings", "OPENBLAS_NUM_THREADS": "1"},
    )
    assert done.returncode == 0, done.stderr
    told = {
        name: (float(seconds), text)
        for name, seconds, text in (line.split("|") for line in done.stdout.splitlines())
    }
    peak, _ = told.pop("peak")
    assert {name: FILES[name][1] in text for name, (_, text) in told.items()} == dict.fromkeys(FILES, True), (
        told
    )
    assert max(seconds for seconds, _ in told.values()) < 15
    assert peak < 800


@pytest.mark.django_db
def test_the_command_reads_nothing_of_a_file_that_is_too_large(
    tmp_path: Path, pathways: list[PathwayVersion]
) -> None:
    site, path = make_site(), tmp_path / "large.csv"
    with path.open("wb") as file:
        file.truncate(200_000_000)
    with pytest.raises(CommandError, match=r"200\.0 MB; at most"):
        call_command("import_sheet", str(path), "--site", site.name, "--map", str(path), stdout=StringIO())


@pytest.mark.django_db
def test_a_file_that_grows_while_it_is_read_is_not_taken(
    tmp_path: Path, pathways: list[PathwayVersion], monkeypatch: pytest.MonkeyPatch
) -> None:
    site, path = make_site(), tmp_path / "log.csv"
    path.write_bytes(b"no,eye\n1,R\n")
    read = Path.read_bytes

    def read_while_written(self: Path) -> bytes:
        content = read(self)
        with self.open("ab") as file:
            file.write(b"2,L\n")
        return content

    monkeypatch.setattr(Path, "read_bytes", read_while_written)
    with pytest.raises(CommandError, match="changed while it was read"):
        call_command("import_sheet", str(path), "--site", site.name, "--map", str(path), stdout=StringIO())


@pytest.mark.django_db
def test_a_file_s_name_keeps_no_character_that_nobody_sees(pathways: list[PathwayVersion]) -> None:
    batch = take_sheet(
        by=None, now=NOW, site=make_site(), file_name="log\x00\x07\u202e.csv", content=b"no,eye\n1,R\n"
    )
    assert batch.file_name == "log   .csv"


@pytest.mark.django_db(transaction=True)
def test_the_server_answers_while_and_after_a_sheet_of_200_mb_is_sent(
    live_server: LiveServer, pathways: list[PathwayVersion]
) -> None:
    site: Site = make_site()
    client = Client()
    client.force_login(make_staff(site=site), backend="django.contrib.auth.backends.ModelBackend")
    cookie = f"sessionid={client.cookies['sessionid'].value}; csrftoken={'a' * 32}"
    address = urlsplit(live_server.url)

    def get(path: str) -> int:
        asked = http.client.HTTPConnection(address.netloc, timeout=60)
        asked.request("GET", path, headers={"Cookie": cookie})
        status = asked.getresponse().status
        asked.close()
        return status

    head = b'--mark\r\nContent-Disposition: form-data; name="file"; filename="log.csv"\r\n\r\nno,va\n'
    tail = b"\r\n--mark--\r\n"
    size = 200_000_000
    during: list[int] = []

    def body() -> Iterator[bytes]:
        yield head
        for piece in range(200):
            if piece == 100:
                during.append(get("/imports/"))
            yield b"1,6/9\n" * 166_666 + b"1,6\n"
        yield tail

    sending = http.client.HTTPConnection(address.netloc, timeout=120)
    sending.request(
        "POST",
        reverse("imports"),
        body=body(),
        headers={
            "Cookie": cookie,
            "X-CSRFToken": "a" * 32,
            "Content-Type": "multipart/form-data; boundary=mark",
            "Content-Length": str(len(head) + size + len(tail)),
        },
    )
    answer = sending.getresponse()
    assert (answer.status, "The file is larger than" in answer.read().decode()) == (200, True)
    sending.close()
    assert (during, get("/imports/")) == ([200], 200)
    assert not ImportBatch.objects.exists()
