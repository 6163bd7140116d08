"""Three lines gained: which readings are held against each other, and when the clock runs."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from followup.domain.outcome import Ending
from followup.domain.words import RecurrenceEvent
from followup.models import Eye, Site
from followup.queries.cohort_row import CohortRow
from followup.queries.cohorts import read_cohort
from tests.builders import make_acuity, make_exam, make_operation, make_site
from tests.queries.audited import OPERATED, choice_of

pytestmark = pytest.mark.django_db

Read = tuple[int, str, dict[str, Any]]
"""Days from the operation, logMAR or a category, and what else is said of the reading."""


@pytest.fixture
def eye() -> Eye:
    return make_operation(site=make_site(), date=OPERATED, tamponade_in="sf6").eye


def read(eye: Eye, *readings: Read) -> CohortRow:
    for day, value, said in readings:
        exam = make_exam(eye=eye, day=OPERATED + timedelta(day), tamponade_seen=said.pop("seen", "none"))
        below = not value[0].isdigit()
        fields = (
            {"logmar": None, "category": value, "notation": "category"}
            if below
            else {"logmar": Decimal(value)}
        )
        make_acuity(exam=exam, as_written=value, **fields | said)
    site: Site = eye.patient.site
    (row,) = read_cohort(choice_of(site, event=RecurrenceEvent.GAIN)).rows
    return row


LINE = {"notation": "logmar"}


@pytest.mark.parametrize(
    ("readings", "ending", "days"),
    [
        ([(-1, "0.7", {}), (30, "0.4", {})], Ending.RECURRED, 30),
        ([(-1, "0.7", {}), (30, "0.42", {})], Ending.FREE, 30),
        ([(-1, "0.7", {}), (30, "0.5", {}), (90, "0.4", {})], Ending.RECURRED, 90),
        ([(-1, "0.7", {}), (14, "0.3", {"seen": "bubble"})], Ending.RECURRED, 14),
        ([(-1, "0.7", {}), (14, "1.6", {"seen": "bubble"})], Ending.FREE, 14),
        ([(-1, "0.7", {}), (30, "hand_movements", {})], Ending.FREE, 30),
        ([(-1, "hand_movements", {}), (30, "0.3", {})], Ending.NEVER_STARTED, None),
        ([(30, "0.3", {})], Ending.NEVER_STARTED, None),
        ([(-1, "0.7", {})], Ending.NEVER_STARTED, None),
        ([(-200, "0.7", {}), (30, "0.3", {})], Ending.NEVER_STARTED, None),
        ([(-1, "0.7", {}), (30, "0.3", {"correction": "pinhole"})], Ending.NEVER_STARTED, None),
        ([(-1, "0.7", {}), (30, "0.3", dict(LINE))], Ending.NEVER_STARTED, None),
        ([(-30, "0.2", {}), (0, "0.7", {}), (30, "0.4", {})], Ending.RECURRED, 30),
        ([(-1, "0.7", {}), (30, "0.4", {}), (90, "0.9", {})], Ending.RECURRED, 30),
    ],
    ids=[
        "three lines, exactly",
        "a letter short",
        "the first that shows it",
        "through gas",
        "worse through gas",
        "below the chart later",
        "below the chart before",
        "nothing before",
        "nothing after",
        "too long before",
        "another correction",
        "another chart",
        "the last before counts",
        "lost again later",
    ],
)
def test_what_counts_as_a_gain(eye: Eye, readings: list[Read], ending: Ending, days: int | None) -> None:
    row = read(eye, *[(day, value, dict(said)) for day, value, said in readings])
    assert (row.ending, row.days) == (ending, days)
