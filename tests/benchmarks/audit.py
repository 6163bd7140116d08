"""How long a whole audit takes, from database rows to every figure, beside only fetching the rows.

Run with `python -m tests.benchmarks.audit [eyes] [--profile]`. Eyes of invented histories (two years, one in
four with oil, up to eight exams, each with a reading) are written to a database of their own in a temporary
folder. The floor fetches the same columns of the same rows with `values_list` and throws them away, in the
same run. Times are processor times, the least of several runs. Leaves with 1 if the ratio is over its limit.
"""

from __future__ import annotations

import cProfile
import os
import pstats
import sys
import time as clock
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from decimal import Decimal
from itertools import count
from random import Random
from tempfile import TemporaryDirectory
from typing import Any

EYES = 100_000
AIM, LIMIT = 3.0, 6.0
"""Times the floor: what is aimed at, and what must hold."""
RUNS = 2
LOCK = date(2025, 1, 6)
VISITS = (1, 7, 30, 90, 180, 365, 730)
AT_ONCE = 20_000


def set_up(folder: str) -> None:
    """A database of its own: nothing of the installation is touched."""
    os.environ.update(
        DJANGO_SETTINGS_MODULE="config.settings",
        DATABASE_URL=f"sqlite:///{folder}/audit.sqlite3",
        FOLLOWUP_DATA_DIR=folder,
    )
    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)


def write_eyes(eyes: int) -> int:
    """A site with so many operated eyes, two of every person; its id."""
    from followup.models import Eye, Patient, Site

    random = Random(20240501)
    site = Site.objects.create(name="Clinic")
    patients = [
        Patient(
            site=site,
            record_number=f"N{number}",
            sex=random.choice(("female", "male")),
            birth_date=date(1935 + random.randrange(50), 5, 17),
        )
        for number in range(-(-eyes // 2))
    ]
    Patient.objects.bulk_create(patients, batch_size=2000)
    made = [
        Eye(
            patient=patients[number // 2],
            side=("right", "left")[number % 2],
            axial_length_mm=Decimal(random.randrange(2100, 3300)) / 100 if random.random() < 0.8 else None,
        )
        for number in range(eyes)
    ]
    Eye.objects.bulk_create(made, batch_size=2000)
    numbers = tuple(count(1) for _ in range(3))
    for start in range(0, eyes, AT_ONCE):
        _write_histories(made[start : start + AT_ONCE], random, numbers)
    return int(site.pk)


def _write_histories(eyes: list[Any], random: Random, numbers: tuple[Any, ...]) -> None:
    from followup.models import AcuityReading, Exam, Operation, OperationProcedure, Visit

    operation_ids, visit_ids, exam_ids = numbers
    rows: dict[type, list[Any]] = {
        kind: [] for kind in (Operation, OperationProcedure, Visit, Exam, AcuityReading)
    }
    visits: dict[tuple[int, date], int] = {}

    def operate(eye: Any, day: date, procedure: str, **fields: Any) -> None:
        pk = next(operation_ids)
        rows[Operation].append(Operation(pk=pk, eye=eye, date=day, **fields))
        rows[OperationProcedure].append(OperationProcedure(operation_id=pk, procedure=procedure))

    def see(eye: Any, day: date, retina: str, seen: str) -> None:
        visit = visits.get((eye.patient_id, day))
        if visit is None:
            visit = visits[eye.patient_id, day] = next(visit_ids)
            rows[Visit].append(Visit(pk=visit, patient_id=eye.patient_id, day=day))
        pk = next(exam_ids)
        rows[Exam].append(
            Exam(pk=pk, visit_id=visit, eye=eye, retina=retina, tamponade_seen=seen, lens="phakic")
        )
        logmar = Decimal(random.randrange(0, 85)) / 50 if random.random() < 0.9 else None
        rows[AcuityReading].append(
            AcuityReading(
                exam_id=pk,
                as_written="as read",
                notation="letters" if logmar is not None else "category",
                correction="best",
                logmar=logmar,
                category="" if logmar is not None else "hand_movements",
            )
        )

    for eye in eyes:
        _one_history(eye, random, operate, see)
    for kind, some in rows.items():
        kind.objects.bulk_create(some, batch_size=2000)  # type: ignore[attr-defined]  # kinds of record


def _one_history(eye: Any, random: Random, operate: Callable[..., None], see: Callable[..., None]) -> None:
    first = date(2016, 1, 4) + timedelta(random.randrange(2500))
    oil = random.random() < 0.25
    operate(
        eye,
        first,
        "vitrectomy",
        indication=random.choice(("rrd", "pvr", "mhrd", "macular_hole")),
        tamponade_in="oil_1000" if oil else random.choice(("sf6", "c3f8", "air")),
        attached_at_end="yes",
        surgeon_name=random.choice(("One", "Two", "Three")),
    )
    out = random.randrange(60, 150)
    if oil and random.random() < 0.8:
        operate(
            eye,
            first + timedelta(out),
            "oil_removal",
            indication="tamponade_removal",
            tamponade_in="none",
            takes_out=True,
        )
    see(eye, first, "detached_macula_off", "not_examined")
    leaves, fails = random.choice((60, 200, 400, 730, 730)), random.random() < 0.15
    for planned in VISITS:
        if planned <= leaves and random.random() < 0.9:
            day = planned + random.randrange(5)
            found = fails and planned >= 30 and random.random() < 0.3
            seen = ("oil" if day <= out else "none") if oil else ("bubble" if planned < 30 else "none")
            see(eye, first + timedelta(day), "detached_macula_off" if found else "attached", seen)


def fetch_only(site: int) -> int:
    """The floor: the rows and columns that an audit reads, as the database gives them."""
    return sum(sum(1 for _ in rows) for rows in _rows(site))


def _rows(site: int) -> Iterator[Any]:
    from followup.models import AcuityReading, Exam, Eye, Milestone, Operation, OperationProcedure

    traits = ("axial_length_mm", "staphyloma", "only_eye")
    owner = [f"patient__{name}" for name in ("site__name", "sex", "birth_date", "age_stated", "died_on")]
    yield Eye.objects.filter(patient__site=site).values_list("pk", "patient_id", "side", *traits, *owner)
    done = Operation.objects.filter(eye__patient__site=site, in_error=False).order_by("date", "id")
    kept = ("repeat", "extent", "attached_at_end", "restarts", "surgeon_id", "surgeon_name", "date_precision")
    yield done.values_list("eye_id", "id", "date", "indication", "tamponade_in", "takes_out", *kept)
    procedures = OperationProcedure.objects.filter(operation__eye__patient__site=site)
    yield procedures.values_list("operation_id", "procedure")
    exams = Exam.objects.filter(eye__patient__site=site, visit__in_error=False).order_by("visit__day", "id")
    found = ("retina", "hole", "tamponade_seen", "lens")
    yield exams.values_list("eye_id", "id", "visit_id", "visit__day", *found)
    readings = AcuityReading.objects.filter(exam__eye__patient__site=site)
    yield readings.values_list("exam_id", "correction", "notation", "logmar", "category")
    removals = Milestone.objects.filter(course__eye__patient__site=site, lane="removal")
    yield removals.values_list("course__operation_id", "closes")


def count_all(site: int) -> int:
    """Every figure of the page as the page words them; eyes told apart, limits by patient."""
    from followup.queries.cohort_choice import CohortChoice, Stratum
    from followup.queries.cohorts import read_cohort
    from followup.queries.reports.audit_sections import sections
    from followup.queries.reports.audit_whole import whole_audit
    from followup.queries.reports.audit_words import tables

    cohort = read_cohort(CohortChoice(site_id=site, lock=LOCK, strata=Stratum.TAMPONADE))
    whole = whole_audit(cohort, minimum_at_risk=5)
    tables(whole.report)
    sections(whole)
    return len(cohort.rows)


def seconds(task: Callable[[int], int], site: int) -> float:
    """Least processor time of several runs."""
    taken = []
    for _ in range(RUNS):
        started = clock.process_time()
        task(site)
        taken.append(clock.process_time() - started)
    return min(taken)


def main(eyes: int, *, profile: bool = False) -> int:
    with TemporaryDirectory() as folder:
        set_up(folder)
        site = write_eyes(eyes)
        if profile:
            with cProfile.Profile() as found:
                count_all(site)
            pstats.Stats(found).sort_stats("tottime").print_stats(45)
        floor, here = seconds(fetch_only, site), seconds(count_all, site)
        print(f"{eyes} eyes, {fetch_only(site)} rows: fetched in {floor:.2f} s, counted in {here:.2f} s")
        print(f"Ratio {here / floor:.2f}; aimed at {AIM}, at most {LIMIT}.")
        return 1 if here / floor > LIMIT else 0


if __name__ == "__main__":
    arguments = [argument for argument in sys.argv[1:] if argument != "--profile"]
    size = int(float(arguments[0])) if arguments else EYES
    sys.exit(main(size, profile="--profile" in sys.argv))
