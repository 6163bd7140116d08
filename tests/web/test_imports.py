"""A file goes in through the page: chosen, its columns named, looked at, confirmed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import time_machine
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from followup.jobs.imports import run_imports
from followup.models import (
    AcuityReading,
    ColumnMap,
    Exam,
    ImportBatch,
    Operation,
    PathwayVersion,
    Patient,
    Site,
)
from tests.builders import make_site, make_staff

pytestmark = pytest.mark.django_db

LOG = (
    "Record No;Eye;OP-Datum;Eingriff;Tamponade;Visit date;Visus\n"
    "0012;R;10.01.2025;vitrectomy;oil;20.02.2025;0,5\n"
    "0013;both;10.01.2025;vitrectomy;oil;20.02.2025;0,5\n"
    "0014;L;10.01.2031;vitrectomy;=1+1;20.02.2025;0,5\n"
)


@pytest.fixture
def site(pathways: list[PathwayVersion]) -> Site:
    return make_site(bare_acuity="")


@pytest.fixture
def client(site: Site) -> Client:
    client = Client()
    staff = make_staff(role="coordinator", site=site)
    client.force_login(staff, backend="django.contrib.auth.backends.ModelBackend")
    return client


@pytest.fixture(autouse=True)
def today() -> Any:
    with time_machine.travel("2026-03-02T09:00:00Z", tick=False):
        yield


def send(client: Client, content: bytes, name: str = "log.csv") -> HttpResponse:
    return client.post(reverse("imports"), {"file": SimpleUploadedFile(name, content)})


def proposed(answer: Any) -> dict[str, Any]:
    """What the page of columns shows, as a browser would send it back."""
    context = answer.context
    bound = [context["form"], *(column.form for column in context["columns"])]
    boxes = {field.html_name: field.value() for form in bound for field in form}
    return {name: value for name, value in boxes.items() if value not in (None, False)} | context["used"]


def columns_page(client: Client) -> tuple[ImportBatch, Any]:
    send(client, LOG.encode())
    batch = ImportBatch.objects.get()
    return batch, client.get(reverse("import_columns", args=[batch.pk]))


def test_columns_are_proposed_and_what_is_not_settled_is_asked(client: Client) -> None:
    _, answer = columns_page(client)
    shown = {column.heading: column.form["target"].value() for column in answer.context["columns"]}
    assert shown == {
        "Record No": "record_number",
        "Eye": "side",
        "OP-Datum": "operation_date",
        "Eingriff": "procedures",
        "Tamponade": "tamponade_in",
        "Visit date": "visit_date",
        "Visus": "acuity",
    }
    text = answer.content.decode()
    assert "What is a number alone in this column?" in text
    assert "Does this column write the day or the month first?" in text


def test_each_row_is_shown_and_only_the_accepted_are_written(client: Client, site: Site) -> None:
    batch, answer = columns_page(client)
    said = proposed(answer) | {"c6-notation": "decimal", "c2-date_order": "day_first", "keep_as": "Old log"}
    assert client.post(reverse("import_columns", args=[batch.pk]), said).status_code == 302
    text = client.get(reverse("import", args=[batch.pk])).content.decode()
    assert "3 rows read" in text
    assert "Write 1 row<" in text
    assert "means both eyes. Write a row for each eye." in text.replace("&quot;", '"')
    assert not Patient.objects.exists()
    client.post(reverse("import_confirm", args=[batch.pk]))
    assert list(Patient.objects.values_list("record_number", flat=True)) == ["0012"]
    assert (Operation.objects.count(), Exam.objects.count()) == (1, 1)
    assert ColumnMap.objects.get(site=site).name == "Old log"
    assert "what was written" in client.get(reverse("import", args=[batch.pk])).content.decode()


def test_rows_can_be_looked_at_by_outcome_and_downloaded_as_harmless_text(client: Client) -> None:
    batch, answer = columns_page(client)
    said = proposed(answer) | {"c6-notation": "decimal", "c2-date_order": "day_first"}
    client.post(reverse("import_columns", args=[batch.pk]), said)
    rows = client.get(reverse("import", args=[batch.pk]), {"outcome": "refused"}).context["rows"]
    assert [row.number for row in rows] == [4]
    text = client.get(reverse("import_problems", args=[batch.pk])).content.decode()
    lines = text.splitlines()
    assert lines[0] == (
        "\ufeffRecord No;Eye;OP-Datum;Eingriff;Tamponade;Visit date;Visus;Why it was left out"
    )
    assert [line.split(";")[0] for line in lines[1:]] == ["0013", "0014"]
    assert ";'=1+1;" in lines[2]
    assert "Row 4: " in lines[2]


def test_rows_left_out_come_back_mended_by_the_same_map(client: Client) -> None:
    batch, answer = columns_page(client)
    said = proposed(answer) | {"c6-notation": "decimal", "c2-date_order": "day_first", "keep_as": "Old log"}
    client.post(reverse("import_columns", args=[batch.pk]), said)
    client.post(reverse("import_confirm", args=[batch.pk]))
    left = client.get(reverse("import_problems", args=[batch.pk])).content.decode("utf-8")
    mended = left.replace("both", "L").replace("10.01.2031", "10.01.2025").replace("'=1+1", "oil")
    send(client, mended.encode())
    latest = ImportBatch.objects.latest("id")
    kept = ColumnMap.objects.get()
    client.post(reverse("import_columns", args=[latest.pk]), {"use_map": kept.pk})
    client.post(reverse("import_confirm", args=[latest.pk]))
    assert list(Patient.objects.order_by("record_number").values_list("record_number", flat=True)) == [
        "0012",
        "0013",
        "0014",
    ]


def test_a_written_file_is_undone_from_its_page_and_read_once_more(client: Client) -> None:
    batch, answer = columns_page(client)
    said = proposed(answer) | {"c6-notation": "decimal", "c2-date_order": "day_first"}
    client.post(reverse("import_columns", args=[batch.pk]), said)
    client.post(reverse("import_confirm", args=[batch.pk]))
    patient = Patient.objects.get()
    page = client.get(reverse("eye", args=[patient.eyes.get().pk])).content.decode()
    assert "From log.csv, row 2" in page
    told = client.post(reverse("import_undo", args=[batch.pk]), follow=True).content.decode()
    assert "is undone: its records are gone" in told
    assert not Operation.objects.exists()
    answer = client.post(reverse("import_again", args=[batch.pk]))
    assert answer.url == reverse("import_columns", args=[ImportBatch.objects.latest("id").pk])


def test_a_long_file_is_handed_to_the_worker_and_shows_how_far_it_is(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("followup.web.imports.views.LONG", 2)
    batch, answer = columns_page(client)
    said = proposed(answer) | {"c6-notation": "decimal", "c2-date_order": "day_first"}
    client.post(reverse("import_columns", args=[batch.pk]), said)
    client.post(reverse("import_confirm", args=[batch.pk]))
    page = client.get(reverse("import", args=[batch.pk])).content.decode()
    assert "0 of 3 rows gone through" in page
    assert 'http-equiv="refresh"' in page
    client.post(reverse("import_stop", args=[batch.pk]))
    assert "Stopped after 0 of 3 rows" in client.get(reverse("import", args=[batch.pk])).content.decode()
    client.post(reverse("import_confirm", args=[batch.pk]))
    run_imports()
    assert "what was written" in client.get(reverse("import", args=[batch.pk])).content.decode()
    assert Patient.objects.count() == 1


def test_dates_made_of_fractions_are_confirmed_once_a_column_and_marked(client: Client) -> None:
    rows = b"Record No,Eye,Visit date,VA\n1,R,2025-02-20,2024-06-09\n2,R,2025-02-20,6/12\n"
    send(client, rows)
    batch = ImportBatch.objects.get()
    address = reverse("import_columns", args=[batch.pk])
    page = client.get(address)
    assert "2024-06-09 may be 6/9" in page.content.decode()
    client.post(address, proposed(page))
    assert batch.rows.filter(outcome="human").count() == 1
    ticked = next(
        column.form["recovered"].html_name for column in page.context["columns"] if column.heading == "VA"
    )
    client.post(address, proposed(page) | {ticked: "on"})
    client.post(reverse("import_confirm", args=[batch.pk]))
    readings = AcuityReading.objects.order_by("pk").values_list("as_written", "approximate")
    assert list(readings) == [("6/9", True), ("6/12", False)]
    assert (
        "Recovered: a spreadsheet had made the date"
        in client.get(reverse("import", args=[batch.pk])).content.decode()
    )


def test_a_kept_reading_is_offered_for_the_next_file(client: Client, site: Site) -> None:
    batch, answer = columns_page(client)
    said = proposed(answer) | {"c6-notation": "decimal", "c2-date_order": "day_first", "keep_as": "Old log"}
    client.post(reverse("import_columns", args=[batch.pk]), said)
    kept = ColumnMap.objects.get(site=site)
    send(client, LOG.encode())
    latest = ImportBatch.objects.latest("id")
    again = client.get(reverse("import_columns", args=[latest.pk]), {"map": kept.pk})
    assert again.context["columns"][6].form["notation"].value() == "decimal"
    assert again.context["columns"][6].questions == []


def test_a_file_that_is_on_record_already_has_nothing_to_write(client: Client) -> None:
    for _ in range(2):
        send(client, LOG.encode())
        batch = ImportBatch.objects.latest("id")
        answer = client.get(reverse("import_columns", args=[batch.pk]))
        said = proposed(answer) | {"c6-notation": "decimal", "c2-date_order": "day_first"}
        client.post(reverse("import_columns", args=[batch.pk]), said)
        text = client.get(reverse("import", args=[batch.pk])).content.decode()
        client.post(reverse("import_confirm", args=[batch.pk]))
    assert ImportBatch.objects.latest("id").counts["same"] == 1
    assert "Nothing to write: keep the file on the list" in text
    assert "Write 1 row" not in text


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"c0-target": ""}, "No column is the record number"),
        ({"c5-target": ""}, "needs a column with the day"),
        ({"c4-target": "side"}, "2 columns are side"),
        ({"c6-at": "soon"}, "not a duration"),
    ],
)
def test_columns_that_do_not_fit_together_are_refused_on_the_page(
    client: Client, changes: dict[str, str], message: str
) -> None:
    batch, answer = columns_page(client)
    refused = client.post(reverse("import_columns", args=[batch.pk]), proposed(answer) | changes)
    assert refused.status_code == 200
    assert message in refused.content.decode().replace("&quot;", '"')
    batch.refresh_from_db()
    assert batch.state == "read"


@pytest.mark.parametrize(
    ("content", "message"),
    [(b"%PDF-1.7", "This is a PDF, not a table."), (b'a,b\n"1,2\n', "quotation mark that is not closed")],
)
def test_a_file_that_cannot_be_read_is_refused_and_not_kept(
    client: Client, content: bytes, message: str
) -> None:
    answer = send(client, content)
    assert answer.status_code == 200
    assert message in answer.content.decode()
    assert not ImportBatch.objects.exists()


def test_letters_read_wrongly_can_be_read_again(client: Client) -> None:
    send(client, "no,name\n0012,مريض\n".encode("cp1256"))
    batch = ImportBatch.objects.get()
    address = reverse("import_columns", args=[batch.pk])
    asked = {"encoding": "cp1252", "separator": "", "sheet": ""}
    assert client.get(address).context["sheet"].encoding == "cp1256"
    assert client.get(address, asked).context["sheet"].encoding == "cp1252"


def test_an_unwanted_file_is_forgotten_and_a_written_one_stays(client: Client) -> None:
    batch, answer = columns_page(client)
    said = proposed(answer) | {"c6-notation": "decimal", "c2-date_order": "day_first"}
    client.post(reverse("import_columns", args=[batch.pk]), said)
    client.post(reverse("import_confirm", args=[batch.pk]))
    told = client.post(reverse("import_discard", args=[batch.pk]), follow=True).content.decode()
    assert "stays on record" in told
    send(client, LOG.encode())
    client.post(reverse("import_discard", args=[ImportBatch.objects.latest("id").pk]))
    assert list(ImportBatch.objects.all()) == [batch]


HOLES = Path(settings.BASE_DIR) / "fixtures" / "sheets" / "macular_hole_surgery_benchmark"


def test_a_map_kept_as_a_file_does_what_the_command_does(client: Client) -> None:
    sent = {
        "file": SimpleUploadedFile("holes.csv", HOLES.with_suffix(".csv").read_bytes()),
        "map": SimpleUploadedFile("holes.json", HOLES.with_suffix(".json").read_bytes()),
    }
    answer = client.post(reverse("imports"), sent)
    batch = ImportBatch.objects.get()
    assert answer.headers["Location"] == reverse("import", kwargs={"pk": batch.pk})
    assert (batch.counts["read"], batch.counts["new"]) == (104, 104)
    assert not Operation.objects.exists()


@pytest.mark.parametrize(
    ("content", "said"), [(b"{", "is not a JSON file"), (b'{"shape": "sideways"}', "does not fit at shape")]
)
def test_a_faulty_map_is_refused_beside_its_box(client: Client, content: bytes, said: str) -> None:
    sent = {
        "file": SimpleUploadedFile("log.csv", LOG.encode()),
        "map": SimpleUploadedFile("map.json", content),
    }
    answer = client.post(reverse("imports"), sent)
    assert said in answer.content.decode()
    assert not ImportBatch.objects.exists()
