"""`verify` compares what is stored with what the records say, and puts it right when asked to."""

from __future__ import annotations

from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from followup.models import Milestone, PathwayVersion
from followup.services.pathway import replan_eye
from tests.builders import make_operation

pytestmark = pytest.mark.django_db


@pytest.fixture
def eye_id(pathways: list[PathwayVersion]) -> int:
    eye_id = make_operation().eye_id
    replan_eye(eye_id=eye_id)
    return eye_id


def verify(*arguments: str) -> str:
    output = StringIO()
    call_command("verify", *arguments, stdout=output)
    return output.getvalue()


def test_rows_as_the_records_say_are_confirmed(eye_id: int) -> None:
    assert verify() == "Every stored row is what the records say.\n"


def test_a_row_changed_by_hand_is_named_and_stays_until_repair_is_asked_for(eye_id: int) -> None:
    Milestone.objects.filter(key="M1").update(title="Changed")
    output = StringIO()
    with pytest.raises(CommandError, match="Run again with --repair"):
        call_command("verify", stdout=output)
    assert output.getvalue().startswith(f"Eye {eye_id}, course 1: stored ")
    assert Milestone.objects.get(key="M1").title == "Changed"
    assert verify("--repair").splitlines()[-1] == "Stored anew."
    assert verify() == "Every stored row is what the records say.\n"


def test_without_pathways_it_says_what_to_do() -> None:
    with pytest.raises(CommandError, match=r"Run manage\.py load_pathways"):
        verify()
