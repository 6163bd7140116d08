"""The history in words."""

from __future__ import annotations

import pytest

from followup.models import Change
from followup.queries.history import ChangeRow, change_rows
from tests.builders import NOW, make_eye, make_patient, make_staff

pytestmark = pytest.mark.django_db


def row_of(**values: object) -> ChangeRow:
    patient = make_patient()
    change = Change(at=NOW, by=None, site=patient.site, patient=patient, verb="correct_operation", **values)
    (row,) = change_rows([change])
    return row


def test_codes_and_numbers_become_words_and_names() -> None:
    surgeon, eye = make_staff(first_name="Robin", last_name="Sands"), make_eye(side="left")
    row = row_of(
        after={
            "eye": eye.pk,
            "surgeon": surgeon.pk,
            "indication": "pvr",
            "procedures": ["vitrectomy", "ilm_peel"],
            "takes_out": False,
            "note": "",
            "sequence": 4,
        }
    )
    assert (row.by, row.what) == ("The night's work", "Correct operation")
    assert row.after == (
        ("Eye", "LEFT"),
        ("Surgeon", "Robin Sands"),
        ("Indication", "Proliferative vitreoretinopathy"),
        ("Procedures", "Pars plana vitrectomy, ILM peel"),
        ("Takes out", "No"),
    )


def test_only_what_differs_is_told() -> None:
    row = row_of(before={"state": "booked", "lane": "review"}, after={"state": "fulfilled", "lane": "review"})
    assert (row.before, row.after) == ((("State", "Booked"),), (("State", "Attended"),))


def test_an_exam_is_told_eye_by_eye() -> None:
    exam = {"side": "right", "retina": "attached", "hole": "not_examined", "acuities": [["6/9", "best"]]}
    row = row_of(after={"exams": [exam]})
    assert row.after == (
        ("Exams", "side: RIGHT; retina: Attached; acuities: 6/9 (Best corrected after refraction)"),
    )


def test_a_value_of_no_list_is_told_as_it_stands() -> None:
    assert row_of(after={"indication": "a word of old", "surgeon": 99}).after == (
        ("Indication", "a word of old"),
        ("Surgeon", "No. 99"),
    )
