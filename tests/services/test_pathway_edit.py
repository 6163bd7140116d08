"""A pathway is edited with its effects in view, and no eye moves unasked."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from django.conf import settings

from followup.domain.errors import NotAllowed, Refused
from followup.domain.pathway.definition import PathwayFault
from followup.domain.words import Standing
from followup.models import Change, Course, Milestone, PathwayVersion, Site
from followup.services import pathway
from followup.services.pathway_edit import accept_edit, preview_edit
from tests.builders import NOW, make_exam, make_eye, make_operation, make_site, make_staff

pytestmark = pytest.mark.django_db
FOLDER = Path(settings.BASE_DIR) / "fixtures" / "pathways"
AFTER_GAS = (FOLDER / "after-gas.toml").read_text()
EARLIER = AFTER_GAS.replace('late = "P14D"', 'late = "P7D"')
"""Month 1 closes a week earlier than before: on 7 March 2024 for an operation on 31 January."""


@pytest.fixture
def site() -> Site:
    pathway.load_pathways(folder=FOLDER)
    site = make_site()
    for _ in range(2):
        eye = make_eye(site=site)
        make_operation(eye=eye, date=date(2024, 1, 31), tamponade_in="sf6")
        for day in (date(2024, 2, 1), date(2024, 2, 7)):
            make_exam(eye=eye, day=day)
        pathway.replan_eye(eye_id=eye.pk)
    return site


def test_the_preview_says_how_many_eyes_change_and_which_become_overdue(site: Site) -> None:
    preview = preview_edit(key="after-gas", text=EARLIER, site=site, today=date(2024, 3, 10))
    assert (preview.number, preview.changed, len(preview.becoming_overdue)) == (2, 2, 2)
    effect = preview.effects[0]
    assert (effect.windows_changed, effect.before, effect.after) == (1, Standing.TO_BOOK, Standing.OVERDUE)
    assert PathwayVersion.objects.filter(key="after-gas").count() == 1


def test_before_the_new_closing_nobody_becomes_overdue(site: Site) -> None:
    preview = preview_edit(key="after-gas", text=EARLIER, site=site, today=date(2024, 3, 7))
    assert preview.becoming_overdue == ()


def test_each_course_stays_or_moves_as_asked(site: Site) -> None:
    stays, moves = Course.objects.order_by("eye_id")
    surgeon = make_staff(role="surgeon", site=site)
    accept_edit(by=surgeon, now=NOW, site=site, key="after-gas", text=EARLIER, move=[moves.pk])
    closes = Milestone.objects.filter(key="M1").order_by("course__eye_id").values_list("closes", flat=True)
    assert list(closes) == [date(2024, 3, 14), date(2024, 3, 7)]
    pathway.replan_eyes(eye_ids=[stays.eye_id, moves.eye_id])
    assert list(pathway.verify()) == []
    assert Change.objects.get(verb="accept_pathway").after["moved_eyes"] == [moves.eye_id]


def test_the_next_operation_follows_the_new_version(site: Site) -> None:
    accept_edit(by=make_staff(role="administrator"), now=NOW, site=site, key="after-gas", text=EARLIER)
    eye = make_eye(site=site)
    make_operation(eye=eye, date=date(2024, 1, 31), tamponade_in="sf6")
    pathway.replan_eye(eye_id=eye.pk)
    assert Course.objects.get(eye=eye).pathway.version == 2


def test_starting_again_with_the_shipped_files_keeps_the_edit(site: Site) -> None:
    accept_edit(by=make_staff(role="surgeon"), now=NOW, site=site, key="after-gas", text=EARLIER)
    pathway.load_pathways(folder=FOLDER)
    assert PathwayVersion.objects.get(key="after-gas", active=True).version == 2


@pytest.mark.parametrize(
    ("role", "text", "refusal"),
    [
        ("coordinator", EARLIER, NotAllowed),
        ("surgeon", AFTER_GAS, Refused),
        ("surgeon", AFTER_GAS.replace('key = "after-gas"', 'key = "other"'), Refused),
        ("surgeon", AFTER_GAS.replace('"P1M"', '"1 month"'), PathwayFault),
        ("surgeon", EARLIER.replace("fallback = true", 'applies = [{tamponade = ["gas"]}]'), Exception),
    ],
)
def test_what_cannot_be_accepted_changes_nothing(
    site: Site, role: str, text: str, refusal: type[Exception]
) -> None:
    with pytest.raises(refusal):
        accept_edit(by=make_staff(role=role), now=NOW, site=site, key="after-gas", text=text)
    assert PathwayVersion.objects.filter(key="after-gas").count() == 1
