"""Whatever is told otherwise of an eye, the list of eyes that changed says what, without dates."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from datetime import date, timedelta
from enum import Enum
from typing import Any

import pytest

from followup.models import Site
from followup.queries.cohort_row import CohortRow, OilStay, Traits
from followup.queries.cohorts import Cohort, read_cohort
from followup.queries.locked.differences import eyes_that_differ
from tests.queries.audited import choice_of

pytestmark = pytest.mark.django_db
NOT_TOLD = {"eye_id", "code", "patient_code", "surgeon_code"}
"""Who it is. The codes of patient and surgeon have tests of their own."""


def another(value: Any) -> Any:
    """A value of the same kind that is not this one; where there was none, there stays none."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, Enum):
        return next(member for member in type(value) if member is not value)
    if isinstance(value, date):
        return value + timedelta(days=1)
    if isinstance(value, (int, float)):
        return value + 1
    if isinstance(value, str):
        return f"{value}x"
    return frozenset() if isinstance(value, frozenset) and value else value


def one_part_changed(row: CohortRow) -> Iterator[tuple[str, CohortRow]]:
    for field in fields(CohortRow):
        value = getattr(row, field.name)
        if field.name in NOT_TOLD:
            continue
        if isinstance(value, (Traits, OilStay)):
            for inner in fields(value):
                told = another(getattr(value, inner.name))
                yield inner.name, replace(row, **{field.name: replace(value, **{inner.name: told})})
        elif isinstance(value, tuple):
            for place, one in enumerate(value):
                told = None if is_dataclass(one) else another(one)
                yield (
                    f"{field.name} {place}",
                    replace(row, **{field.name: (*value[:place], told, *value[place + 1 :])}),
                )
        else:
            yield field.name, replace(row, **{field.name: another(value)})


def test_every_part_of_a_row_that_differs_is_named(site: Site) -> None:
    cohort = read_cohort(choice_of(site))
    then = next(row for row in cohort.rows if row.oil and row.recurred)
    tried = set()
    for name, today in one_part_changed(then):
        if today == then:
            continue
        tried.add(name)
        (found,) = eyes_that_differ(of_one(cohort, then), of_one(cohort, today))
        assert found.what, name
        for part in found.what:
            assert not re.search(r"\d{4}-\d\d-\d\d", f"{part.then} {part.today}"), name
    assert {"index_date", "ending", "macula", "placed_on", "seen 2", "sight 3", "procedures"} <= tried


def of_one(cohort: Cohort, row: CohortRow) -> Cohort:
    return replace(cohort, rows=(row,))


def test_an_eye_that_came_to_belong_to_another_patient_or_surgeon_is_told_otherwise(site: Site) -> None:
    cohort = read_cohort(choice_of(site))
    then = cohort.rows[0]
    today = replace(then, patient_code="PAAA", surgeon_code="SBBB")
    (found,) = eyes_that_differ(of_one(cohort, then), of_one(cohort, today))
    assert [(part.name, part.today) for part in found.what] == [("patient", "PAAA"), ("surgeon", "SBBB")]


def test_codes_say_nothing_once_the_secret_key_was_renewed(site: Site) -> None:
    cohort = read_cohort(choice_of(site))
    then = cohort.rows[0]
    today = replace(then, code="EAAA", patient_code="PAAA", surgeon_code="SBBB")
    assert eyes_that_differ(of_one(cohort, then), of_one(cohort, today)) == []
