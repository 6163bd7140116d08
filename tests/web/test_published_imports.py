"""Published sets of eyes go in through the page by the maps kept beside them; each count is made here anew.

Sources and licences: fixtures/sheets/README.md.
"""

from __future__ import annotations

import csv
import json
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from io import StringIO
from pathlib import Path

import pytest
import time_machine
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from followup.jobs.imports import run_imports
from followup.models import (
    AcuityReading,
    ColumnMap,
    Exam,
    Eye,
    ImportBatch,
    Operation,
    PathwayVersion,
    Patient,
    Visit,
)
from tests.builders import make_site, make_staff

pytestmark = pytest.mark.django_db
REAL = Path(settings.BASE_DIR) / "fixtures" / "sheets" / "real"
Row = dict[str, str]


@dataclass(frozen=True)
class Held:
    """What a file holds: records by kind, and rows that contradict an earlier row."""

    patients: int
    eyes: int
    operations: int
    visits: int
    exams: int
    readings: int
    left: int = 0


def _contradicting(rows: Iterable[Row], key: Callable[[Row], tuple[str, ...]], value: str) -> int:
    """Rows whose value differs from the first one of the same key; a blank contradicts nothing."""
    first: dict[tuple[str, ...], str] = {}
    return sum(
        row[value] not in ("", "NA") and first.setdefault(key(row), row[value]) != row[value] for row in rows
    )


def _distinct(rows: Iterable[Row], *columns: str) -> int:
    return len({tuple(row[column] for column in columns) for row in rows})


def _of_visits(rows: list[Row], person: str, eye: str, time: str, va: str) -> Held:
    """A row a visit of one eye: some days come twice, and are one visit."""
    sides = [eye] if eye else []
    left = _contradicting(rows, lambda row: tuple(row[name] for name in (person, *sides, time)), va)
    readings = [row for row in rows if row[va] not in ("", "NA")]
    return Held(
        _distinct(rows, person),
        _distinct(rows, person, *sides),
        _distinct(rows, person, *sides),
        _distinct(rows, person, time),
        _distinct(rows, person, *sides, time),
        _distinct(readings, person, *sides, time),
        left,
    )


def _twelve_years(rows: list[Row]) -> Held:
    return _of_visits(rows, "patID", "", "time", "va")


def _ten_years(rows: list[Row]) -> Held:
    return _of_visits(rows, "anon_id", "eye", "ttoinj_d", "va")


def _both_eyes(rows: list[Row]) -> Held:
    return _of_visits(rows, "patID", "eye", "time", "va")


def _baseline(rows: list[Row]) -> Held:
    people = _distinct(rows, "ID")
    readings = sum(row["VA_ETDRS"] != "NULL" or row["VAUnder1Letter"] != "NULL" for row in rows)
    return Held(people, people, people, people, people, readings)


def _holes(rows: list[Row]) -> Held:
    columns = [name for name in rows[0] if name.startswith("VA_")]
    readings = sum(row[column] not in ("", "-9") for row in rows for column in columns)
    return Held(len(rows), len(rows), len(rows), readings, readings, readings)


def _ulcers(rows: list[Row]) -> Held:
    readings = sum(row[column] != "NA" for row in rows for column in ("logmar_0", "logmar_3"))
    return Held(len(rows), len(rows), len(rows), readings, readings, readings)


def _whole(days: str) -> int:
    return int(Decimal(days).quantize(Decimal(1), ROUND_HALF_UP))


def _pairs(rows: list[Row]) -> Held:
    visits = sum(len({_whole(row["x1"]), _whole(row["x2"])}) for row in rows)
    return Held(len(rows), 2 * len(rows), 2 * len(rows), visits, 2 * len(rows), 0)


def _calendar(rows: list[Row]) -> Held:
    """Two visits of one day with two titles are one visit, and the second title is asked."""
    left = _contradicting(rows, lambda row: (row["subject"], row["SVSTDTC"]), "VISIT")
    visits, people = _distinct(rows, "subject", "SVSTDTC"), _distinct(rows, "subject")
    operated = _distinct([row for row in rows if row["RFSTDTC"]], "subject")
    return Held(people, people, operated, visits, visits, 0, left)


def _readings(rows: list[Row]) -> Held:
    """Where a row is left out, so is the visit that no other row speaks of."""
    key = ("subject", "OELAT", "OEDTC")
    pressures = [row for row in rows if row["OETESTCD"] == "IOP"]
    letters = [row for row in rows if row["OETESTCD"] == "VACSCORE"]
    left = sum(
        _contradicting(kind, lambda row: tuple(row[name] for name in key), "OESTRESC")
        for kind in (pressures, letters)
    )
    filled = [row for row in letters if row["OESTRESC"]]
    return Held(
        _distinct(rows, "subject"),
        _distinct(rows, "subject", "OELAT"),
        0,
        _distinct(rows, "subject", "OEDTC"),
        _distinct(rows, *key),
        _distinct(filled, *key),
        left,
    )


COUNTED: dict[str, Callable[[list[Row]], Held]] = {
    "nv_amd_12_years": _twelve_years,
    "nv_amd_10_years": _ten_years,
    "diabetic_macular_oedema_both_eyes": _both_eyes,
    "nv_amd_baseline_scans_bom": _baseline,
    "macular_hole_surgery_uncurated": _holes,
    "fungal_ulcer_trial_logmar": _ulcers,
    "paired_eyes_time_to_visual_loss": _pairs,
    "visit_calendar_planned_vs_actual": _calendar,
    "visit_calendar_acuity_iop": _readings,
}


def _written() -> Held:
    models = (Patient, Eye, Operation, Visit, Exam, AcuityReading)
    return Held(*(model._default_manager.count() for model in models))


@pytest.mark.parametrize("name", COUNTED)
def test_a_published_set_goes_in_through_the_page_whole(name: str, pathways: list[PathwayVersion]) -> None:
    site = make_site(bare_acuity="")
    client = Client()
    client.force_login(make_staff(site=site), backend="django.contrib.auth.backends.ModelBackend")
    definition = json.loads((REAL / f"{name}.json").read_text(encoding="utf-8"))
    kept = ColumnMap.objects.create(site=site, name=definition["name"][:80], definition=definition)
    content = (REAL / f"{name}.csv").read_bytes()
    rows = list(csv.DictReader(StringIO(content.decode("utf-8-sig"))))
    held = COUNTED[name](rows)
    with time_machine.travel("2026-03-02T09:00:00Z", tick=False):
        client.post(reverse("imports"), {"file": SimpleUploadedFile(f"{name}.csv", content)})
        batch = ImportBatch.objects.get()
        client.post(reverse("import_columns", args=[batch.pk]), {"use_map": kept.pk})
        batch.refresh_from_db()
        counts = batch.counts
        left = dict(Counter(batch.rows.values_list("outcome", flat=True)))
        assert (counts["read"], counts["human"] + counts["refused"]) == (len(rows), held.left), left
        client.post(reverse("import_confirm", args=[batch.pk]))
        # A long sheet is left to the worker, whose work this is.
        run_imports()
    batch.refresh_from_db()
    assert batch.state == "applied"
    assert _written() == Held(**{**held.__dict__, "left": 0})
