"""Who may take what out, what the history keeps of it, and the lists as sheets."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from django.test import Client

from followup.models import Change, Site
from tests.builders import TODAY, days, make_patient, make_staff
from tests.web.stories import gas_eye, oil_eye, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_nine")]


@pytest.fixture
def clinic(harbour: Site) -> Site:
    gas_eye(
        harbour, days(-70), patient=make_patient(site=harbour, family_name="=Marlow", phone="+447700900012")
    )
    oil_eye(harbour, days(-150), patient=make_patient(site=harbour, family_name="Quill"))
    return harbour


def body_of(answer: Any) -> bytes:
    return b"".join(answer.streaming_content)


@pytest.fixture
def client_of(clinic: Site, enter: Callable[..., Client]) -> Callable[[str], Client]:
    return lambda role: enter(make_staff(role=role, site=clinic))


def test_an_auditor_gets_codes_and_is_not_offered_names(client_of: Callable[[str], Client]) -> None:
    client = client_of("auditor")
    page = text_of(client.get("/exports/"))
    assert "a surgeon or an administrator may take it with names" in page
    assert "With names" not in page
    refused = client.post("/exports/", {"who": "named", "kind": "zip", "days": "since"})
    assert refused.status_code == 200
    assert "Marlow" not in refused.content.decode()
    answer = client.post("/exports/", {"who": "unnamed", "kind": "zip", "days": "since"})
    files = zipfile.ZipFile(io.BytesIO(body_of(answer)))
    assert not any(name.startswith("maps/") for name in files.namelist())
    assert all(b"Marlow" not in files.read(name) for name in files.namelist())


@pytest.mark.parametrize("role", ["surgeon", "administrator"])
def test_those_who_may_take_names_get_them(client_of: Callable[[str], Client], role: str) -> None:
    answer = client_of(role).post("/exports/", {"who": "named", "kind": "zip"})
    assert answer["Content-Disposition"] == f'attachment; filename="records-named-{TODAY}.zip"'
    files = zipfile.ZipFile(io.BytesIO(body_of(answer)))
    assert b"Marlow" in files.read("01-patients.csv")


def test_what_was_taken_stands_in_the_history(clinic: Site, client_of: Callable[[str], Client]) -> None:
    answer = client_of("auditor").post("/exports/", {"who": "unnamed", "kind": "xlsx", "days": "moved"})
    assert body_of(answer).startswith(b"PK")
    change = Change.objects.get(verb="took_out_rows")
    assert change.after | {"rows": 0} == {
        "what": "full_export_under_codes",
        "kind": "xlsx",
        "asked": "moved",
        "rows": 0,
    }


def test_a_bundle_names_people_and_is_refused_under_codes(client_of: Callable[[str], Client]) -> None:
    client = client_of("surgeon")
    assert "it names people" in text_of(client.post("/exports/", {"who": "unnamed", "kind": "json"}))
    bundle = json.loads(body_of(client.post("/exports/", {"who": "named", "kind": "json"})))
    assert bundle["resourceType"] == "Bundle"


def test_the_recall_list_comes_as_it_is_filtered(client_of: Callable[[str], Client]) -> None:
    client = client_of("coordinator")
    answer = client.get("/recall.csv", {"standing": "overdue"})
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert [row["family_name"] for row in rows] == ["Quill", "'=Marlow"]
    assert rows[1]["phone"] == "+447700900012"
    assert {row["standing"] for row in rows} == {"Overdue"}
    assert all(int(row["days_past"]) > 0 for row in rows)
    assert "/recall.csv?standing=overdue" in client.get("/recall/?standing=overdue").content.decode()


def test_the_oil_list_comes_whole(client_of: Callable[[str], Client]) -> None:
    answer = client_of("surgeon").get("/oil.csv")
    [row] = csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig")))
    assert (row["family_name"], row["days_in_eye"], row["placed_on"]) == ("Quill", "150", str(days(-150)))
    assert int(row["days_past_limit"]) == (TODAY - date.fromisoformat(row["limit"])).days


@pytest.mark.parametrize("address", ["/recall.xlsx", "/oil.xlsx"])
def test_both_lists_come_as_workbooks(client_of: Callable[[str], Client], address: str) -> None:
    answer = client_of("coordinator").get(address)
    assert answer.content.startswith(b"PK")


def test_what_no_workbook_holds_is_said_on_the_page(clinic: Site, client_of: Callable[[str], Client]) -> None:
    make_patient(site=clinic, postal_address="x" * 40_000)
    answer = client_of("surgeon").post("/exports/", {"who": "named", "kind": "xlsx"})
    assert "has a text of 40,000 letters" in text_of(answer)
    assert "Choose CSV." in text_of(answer)
    assert not Change.objects.filter(verb="took_out_rows").exists()
