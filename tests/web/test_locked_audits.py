"""Locking an audit from its page, reading it again after corrections, and withdrawing it."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from followup.models import Exam, LockedAudit, Site, Staff
from followup.queries.locked.frozen import canonical, digest_of, digest_of_figures, packed
from tests.builders import make_site, make_staff
from tests.queries.audited import make_followed_eyes, people
from tests.web.stories import send, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_nine")]
ASKED = "lock=2025-01-06"


@pytest.fixture
def site() -> Site:
    """Ten eyes, of which three recurred."""
    site = make_site(name="Harbour Eye Clinic")
    make_followed_eyes(site, people((100 + 60 * number, number < 3) for number in range(10)))
    return site


@pytest.fixture
def auditor(site: Site, enter: Callable[[Staff], Client]) -> Client:
    return enter(make_staff(role="auditor", site=site))


def lock(client: Client, title: str = "Congress, spring") -> str:
    return text_of(send(client, f"/audit/lock/?{ASKED}", title=title))


def test_nothing_is_locked_yet_and_the_page_says_how(auditor: Client) -> None:
    page = text_of(auditor.get("/audit/locked/"))
    assert "No audit is locked yet." in page
    assert '<a href="/audit/">Choose a cohort</a>' in page


def test_an_audit_is_locked_under_a_name_and_found_again(auditor: Client) -> None:
    assert "/audit/lock/?" in text_of(auditor.get(f"/audit/?{ASKED}"))
    assert "This field is required." in lock(auditor, "")
    page = lock(auditor)
    audit = LockedAudit.objects.get()
    assert "The audit is locked with 10 eyes." in page
    assert audit.rows_digest in page
    assert "Nothing differs: the records of today give the same rows and the same figures." in page
    assert "Primary success" in page
    assert "Congress, spring" in text_of(auditor.get("/audit/locked/"))


def test_after_a_correction_the_locked_figures_stay_and_the_page_says_what_differs(
    site: Site, auditor: Client, enter: Callable[[Staff], Client]
) -> None:
    lock(auditor)
    address = f"/audit/locked/{LockedAudit.objects.get().pk}/"
    before = text_of(auditor.get(address))
    rows = auditor.get(f"{address}eyes.csv").content
    Exam.objects.filter(retina="attached").update(retina="detached_macula_off")
    page = text_of(auditor.get(address))
    assert "0 eyes are gone, 0 eyes are added, 7 eyes are told otherwise." in page
    assert "Free of the event, 12, Free" in page
    for figure in ("70.0", "3 of 10"):
        assert (figure in before) == (figure in page)
    assert auditor.get(f"{address}eyes.csv").content == rows
    assert len(list(csv.reader(io.StringIO(rows.decode())))) == 11
    assert "Changed" in text_of(auditor.get(f"{address}differing/"))
    seen = text_of(enter(make_staff(role="surgeon", site=site)).get(f"{address}differing/"))
    assert "<li>ending: free, today recurred</li>" in seen
    assert "/eyes/" in seen


def test_the_parts_of_a_locked_audit_come_from_its_rows(auditor: Client) -> None:
    lock(auditor)
    address = f"/audit/locked/{LockedAudit.objects.get().pk}/"
    Exam.objects.all().delete()
    assert "10 eyes of" in text_of(auditor.get(f"{address}eyes/?of=cohort"))
    assert auditor.get(f"{address}curve.svg").content.startswith(b"<?xml")
    assert auditor.get(f"{address}curve.png").content.startswith(b"\x89PNG")
    assert auditor.get(f"{address}eyes.xlsx").content.startswith(b"PK")


def test_rows_that_were_changed_behind_its_back_are_refused_in_words(auditor: Client) -> None:
    lock(auditor)
    LockedAudit.objects.update(rows_digest="0" * 64)
    answer = auditor.get(f"/audit/locked/{LockedAudit.objects.get().pk}/")
    assert "its digest differs" in text_of(answer)
    assert "Primary success" not in text_of(answer)


def test_a_withdrawn_audit_stays_to_be_read(auditor: Client) -> None:
    lock(auditor)
    address = f"/audit/locked/{LockedAudit.objects.get().pk}/"
    page = text_of(send(auditor, f"{address}withdraw/", reason="Wrong dates"))
    assert "<strong>Withdrawn</strong> by" in page
    assert "Wrong dates" in page
    assert "Withdraw this audit" not in page
    assert "Withdrawn" in text_of(auditor.get("/audit/locked/"))


def test_one_that_was_superseded_names_its_successor_and_is_named_by_it(
    site: Site, auditor: Client, enter: Callable[[Staff], Client]
) -> None:
    lock(auditor, "First")
    lock(auditor, "Second")
    first, second = LockedAudit.objects.order_by("id")
    answer = text_of(auditor.get(f"/audit/locked/{first.pk}/withdraw/"))
    assert "Second, data lock" in answer
    assert "First, data lock" not in answer
    asked = {"reason": "Two eyes were counted twice", "in_its_place": str(second.pk)}
    page = text_of(send(auditor, f"/audit/locked/{first.pk}/withdraw/", **asked))
    assert f'In its place: <a href="/audit/locked/{second.pk}/">Second</a>' in page
    assert f'Takes the place of <a href="/audit/locked/{first.pk}/">First</a>' in text_of(
        auditor.get(f"/audit/locked/{second.pk}/")
    )
    assert "Superseded" in text_of(auditor.get("/audit/locked/"))
    again = text_of(send(auditor, f"/audit/locked/{second.pk}/withdraw/", **asked | {"in_its_place": "99"}))
    assert "Select a valid choice" in again
    assert LockedAudit.objects.get(pk=second.pk).withdrawn_at is None


def test_an_administrator_reads_a_locked_audit_and_neither_locks_nor_withdraws(
    site: Site, auditor: Client, enter: Callable[[Staff], Client]
) -> None:
    lock(auditor)
    chief = enter(make_staff(role="administrator", site=site))
    page = text_of(chief.get(f"/audit/locked/{LockedAudit.objects.get().pk}/"))
    assert "Every figure comes out as it was locked, to the last digit, by the same program." in page
    assert "Withdraw this audit" not in page
    assert "Lock this audit" not in text_of(chief.get(f"/audit/?{ASKED}"))


def test_rows_that_this_program_cannot_read_leave_the_kept_figures(auditor: Client) -> None:
    lock(auditor)
    audit = LockedAudit.objects.get()
    other = canonical({"form": 2, "cohort": {}})
    audit.frozen, audit.rows_digest = packed(other), digest_of(other)
    audit.save()
    address = f"/audit/locked/{audit.pk}/"
    page = text_of(auditor.get(address))
    assert "This program cannot read the locked rows." in page
    assert "From all eyes to the curve, In the cohort, Eyes" in page
    for part in ("eyes.csv", "curve.svg", "eyes/?of=cohort", "differing/"):
        assert "another version of the program" in text_of(auditor.get(f"{address}{part}"))


def test_a_program_that_counts_otherwise_says_so_on_the_page(auditor: Client) -> None:
    lock(auditor)
    audit = LockedAudit.objects.get()
    first = "From all eyes to the curve, In the cohort, Eyes"
    audit.figures = [[name, "11" if name == first else figure] for name, figure in audit.figures]
    audit.figures_digest = digest_of_figures(audit)
    audit.save()
    page = text_of(auditor.get(f"/audit/locked/{audit.pk}/"))
    assert "The program counts otherwise today." in page
    assert "1 figure comes out differently" in page
    assert "<td>11</td><td>10</td>" in page


def test_somebody_who_may_not_see_every_clinic_counted_does_not_find_it(
    site: Site, auditor: Client, enter: Callable[[Staff], Client]
) -> None:
    other = make_site(name="Hill Clinic")
    both = enter(make_staff(role="auditor", sites=[site, other]))
    send(both, f"/audit/lock/?{ASKED}&site={site.pk}&also={other.pk}", title="Both")
    address = f"/audit/locked/{LockedAudit.objects.get().pk}/"
    assert both.get(address).status_code == 200
    assert auditor.get(address).status_code == 404
    assert "Both" not in text_of(auditor.get("/audit/locked/"))


def test_the_list_asks_the_same_number_of_questions_for_any_number(auditor: Client) -> None:
    counts = []
    for title in ("one", "two", "three"):
        lock(auditor, title)
        with CaptureQueriesContext(
            connection,
        ) as asked:
            auditor.get("/audit/locked/")
        counts.append(len(asked))
    assert len(set(counts)) == 1
