"""Setting up: the pathways, a clinic and its administrator."""

from __future__ import annotations

from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.test import Client

from followup.models import PathwayVersion, Site, Staff

pytestmark = pytest.mark.django_db
PASSWORD = "a-lantern-by-the-sea"


def test_the_shipped_pathways_are_loaded_and_loading_again_changes_nothing() -> None:
    for _ in range(2):
        said = StringIO()
        call_command("load_pathways", stdout=said)
        assert "oil-in-place: version 1, in force" in said.getvalue()
    assert set(PathwayVersion.objects.values_list("version", flat=True)) == {1}


def test_a_faulty_folder_is_refused_with_its_file(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text('key = "mine"')
    with pytest.raises(CommandError, match=r"mine\.toml"):
        call_command("load_pathways", str(tmp_path))


def test_a_clinic_and_its_administrator_who_can_sign_in(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FOLLOWUP_PASSWORD", PASSWORD)
    call_command(
        "add_clinic", "Quay Eye Clinic", time_zone="Africa/Cairo", administrator="keeper", stdout=StringIO()
    )
    assert Site.objects.get().time_zone == "Africa/Cairo"
    assert Staff.objects.get().role == "administrator"
    answer = Client().post("/sign-in/", {"username": "keeper", "password": PASSWORD})
    assert (answer.status_code, answer.headers["Location"]) == (302, "/")


@pytest.mark.parametrize(("zone", "password"), [("Cairo", PASSWORD), ("Africa/Cairo", "short")])
def test_what_is_refused_leaves_nothing_behind(
    monkeypatch: pytest.MonkeyPatch, zone: str, password: str
) -> None:
    monkeypatch.setenv("FOLLOWUP_PASSWORD", password)
    with pytest.raises(CommandError):
        call_command("add_clinic", "Quay Eye Clinic", time_zone=zone, administrator="keeper")
    assert not Site.objects.exists()
    assert not Staff.objects.exists()
