"""Records that may be of one person are proposed across spellings and scripts, and never on a name alone."""

from __future__ import annotations

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from followup.models import KeptApart, Patient, Site
from followup.queries.duplicates import conflicts, likely_duplicates
from followup.queries.names import likeness
from tests.builders import NOW, make_exam, make_eye, make_operation, make_patient, make_site, make_staff

BORN = date(1954, 9, 6)


@pytest.mark.parametrize(
    ("first", "second", "alike"),
    [
        ("Ashgrove, Maelis", "Maelis Ashgrove", True),
        ("Ashgrove, Maelis", "Ashgrove, Maélis", True),
        ("Müller, Jörg", "Mueller, Joerg", True),
        ("محمد خالد", "Mohammed Khalid", True),
        ("محمد خالد", "Muhamad Khaled", True),
        ("Иванов, Пётр", "Ivanov, Petr", True),
        ("O'Hara-Vale, Orin", "OHara Vale Orin", True),
        ("Vale, Orin", "Sands, Robin", False),
        ("محمد خالد", "Robin Sands", False),
        ("Li", "Le", False),
        ("", "Vale", False),
    ],
)
def test_names_are_compared_in_any_spelling_and_script(first: str, second: str, alike: bool) -> None:
    assert (likeness(first, second) >= 80) == alike
    assert likeness(first, second) == likeness(second, first)


@pytest.fixture
def site(db: None) -> Site:
    return make_site()


def person(site: Site, number: str, name: str, born: date | None = BORN) -> Patient:
    family, _, given = name.partition(", ")
    return make_patient(
        site=site, record_number=number, family_name=family, given_name=given, birth_date=born
    )


@pytest.mark.parametrize(
    ("first", "second", "why"),
    [
        (("0012", "Vale, Orin", BORN), ("0944", "Vail, Orin", BORN), "Born on the same day"),
        (("0012", "خالد, محمد", BORN), ("0944", "Khalid, Mohammed", BORN), "Born on the same day"),
        (("0012", "Vale, Orin", BORN), ("0944", "Vale, Orin", date(1954, 6, 9)), "turned round"),
        (("0012", "Vale, Orin", BORN), ("12", "Vale, O", None), "Record numbers alike"),
        (("0012", "Vale, Orin", BORN), ("12", "Vale, Orin", None), "Record numbers alike"),
        (("0012", "", None), ("012", "", None), "Record numbers alike"),
        (("0012", "Vale, Orin", BORN), ("12", "Vale, Orin", date(1980, 1, 1)), ""),
        (("0012", "Vale, Orin", None), ("0944", "Vale, Orin", None), ""),
        (("0012", "Vale, Orin", BORN), ("0944", "Vale, Orin", None), ""),
        (("0012", "Vale, Orin", BORN), ("0944", "Sands, Robin", BORN), ""),
        (("0012", "Vale, Orin", BORN), ("0944", "Vale, Orin", date(1955, 9, 6)), ""),
    ],
)
def test_a_pair_is_proposed_for_a_reason_or_not_at_all(
    site: Site, first: tuple[str, str, date | None], second: tuple[str, str, date | None], why: str
) -> None:
    person(site, *first)
    person(site, *second)
    found = likely_duplicates(site)
    assert len(found) == bool(why)
    assert not why or why in found[0].why


def test_people_of_another_clinic_and_pairs_known_to_be_two_are_left_out(site: Site) -> None:
    first, second = person(site, "1", "Vale, Orin"), person(site, "2", "Vale, Orin")
    person(make_site(), "3", "Vale, Orin")
    assert len(likely_duplicates(site)) == 1
    KeptApart.objects.create(first=first, second=second, by=make_staff(), at=NOW)
    assert likely_duplicates(site) == []


def test_more_people_need_no_more_queries(site: Site) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as found:
            likely_duplicates(site)
        return len(found)

    person(site, "1", "Vale, Orin")
    few = queries()
    for number in range(2, 30):
        person(site, str(number), "Vale, Orin")
    assert queries() == few


def test_what_cannot_be_of_one_person_is_shown(site: Site) -> None:
    first, second = person(site, "1", "Vale, Orin"), person(site, "2", "Vale, Orin", date(1980, 1, 1))
    day, other = date(2025, 1, 10), date(2025, 3, 1)
    make_operation(eye=make_eye(patient=first), date=day)
    right = make_eye(patient=second)
    make_operation(eye=right, date=day)
    make_operation(eye=right, date=other)
    make_operation(eye=make_eye(patient=first, side="left"), date=other)
    make_exam(eye=first.eyes.get(side="right"), day=date(2025, 4, 1))
    make_exam(eye=right, day=date(2025, 4, 1))
    assert [(conflict.what, conflict.blocks) for conflict in conflicts(first, second)] == [
        ("Born: 1954-09-06 and 1980-01-01.", False),
        ("Both have an operation on the RIGHT eye on 2025-01-10.", True),
        ("On 2025-03-01 one had the LEFT eye operated on, the other the RIGHT eye.", False),
        ("Both have an exam of the RIGHT eye on 2025-04-01.", True),
    ]
