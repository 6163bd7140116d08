"""Every address with every role: who gets in, and that nobody reaches another site's records.

A page without a row here fails. Its row says which action it takes, and what kind of record its number is.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import pytest
from django.conf import LazySettings
from django.http import HttpResponse
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from followup.domain.roles import Action, Role, may
from followup.models import PageRead, PathwayVersion, Site
from followup.services.pathway import replan_eyes
from tests.builders import (
    make_appointment,
    make_exam,
    make_oil_operation,
    make_session,
    make_site,
    make_staff,
)

pytestmark = pytest.mark.django_db


@dataclass(frozen=True)
class Page:
    """action: what the role must be allowed, None for every role; record: what the address numbers."""

    action: Action | None
    record: str = ""


PATHWAY = "pathway"
"""Pathways are the service's, not one site's, and are named by their key."""

PAGES: dict[str, Page] = {
    "home": Page(None),
    "choose_site": Page(None),
    "recall": Page(Action.SEE_LISTS),
    "questions": Page(Action.SEE_LISTS),
    "oil": Page(Action.SEE_LISTS),
    "without_outcome": Page(Action.SEE_LISTS),
    "sessions": Page(Action.SEE_LISTS),
    "session": Page(Action.SEE_LISTS, "session"),
    "open_session": Page(Action.BOOK),
    "cancel_session": Page(Action.BOOK, "session"),
    "book": Page(Action.BOOK, "eye"),
    "move": Page(Action.BOOK, "appointment"),
    "cancel": Page(Action.BOOK, "appointment"),
    "arrived": Page(Action.BOOK, "appointment"),
    "attended": Page(Action.BOOK, "appointment"),
    "not_attended": Page(Action.BOOK, "appointment"),
    "attempt": Page(Action.CONTACT, "patient"),
    "search": Page(Action.SEE_PATIENTS),
    "register": Page(Action.EDIT_PATIENTS),
    "patient": Page(Action.SEE_PATIENTS, "patient"),
    "history": Page(Action.SEE_PATIENTS, "patient"),
    "change_patient": Page(Action.EDIT_PATIENTS, "patient"),
    "eye": Page(Action.SEE_PATIENTS, "eye"),
    "eye_figure": Page(Action.SEE_PATIENTS, "eye"),
    "change_eye": Page(Action.EDIT_PATIENTS, "eye"),
    "record_operation": Page(Action.RECORD_OPERATION, "patient"),
    "correct_operation": Page(Action.RECORD_OPERATION, "operation"),
    "operation_in_error": Page(Action.RECORD_OPERATION, "operation"),
    "record_visit": Page(Action.RECORD_VISIT, "patient"),
    "correct_visit": Page(Action.RECORD_VISIT, "visit"),
    "visit_in_error": Page(Action.RECORD_VISIT, "visit"),
    "pathways": Page(Action.SEE_LISTS),
    "edit_pathway": Page(Action.EDIT_PATHWAYS, PATHWAY),
    "audit": Page(Action.AUDIT),
    "audit_svg": Page(Action.AUDIT),
    "audit_png": Page(Action.AUDIT),
    "audit_csv": Page(Action.AUDIT),
}

OPEN = {"sign_in", "sign_out"}
"""Without a sign-in."""

PATIENT_RECORDS = {"patient", "eye", "operation", "visit", "appointment"}

WALK = [(name, page, role) for name, page in PAGES.items() for role in Role]
WALK_RECORDS = [(name, page, role) for name, page, role in WALK if page.record not in ("", PATHWAY)]


def names_of(patterns: list[URLPattern | URLResolver]) -> Iterator[str]:
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            if pattern.app_name != "admin":
                yield from names_of(pattern.url_patterns)
        else:
            yield str(pattern.name)


def records_at(site: Site) -> dict[str, int]:
    """One record of every kind, by kind."""
    operation = make_oil_operation(site=site)
    replan_eyes(eye_ids=[operation.eye_id])
    exam = make_exam(eye=operation.eye)
    session = make_session(site=site)
    appointment = make_appointment(patient=operation.eye.patient, session=session)
    return {
        "patient": operation.eye.patient_id,
        "eye": operation.eye_id,
        "operation": operation.pk,
        "visit": exam.visit_id,
        "session": session.pk,
        "appointment": appointment.pk,
    }


def answers(client: Client, name: str, page: Page, records: dict[str, int]) -> list[HttpResponse]:
    """The answers to GET and POST, without the one whose method the page does not know."""
    address = reverse(name, kwargs=_numbered(page, records))
    both = [client.get(address), client.post(address)]
    return [answer for answer in both if answer.status_code != 405]


def _numbered(page: Page, records: dict[str, int]) -> dict[str, object]:
    if page.record == PATHWAY:
        return {"key": "after-gas"}
    return {"pk": records[page.record]} if page.record else {}


def signed_in(role: Role, site: Site) -> Client:
    client = Client(raise_request_exception=True)
    client.force_login(
        make_staff(role=role.value, site=site), backend="django.contrib.auth.backends.ModelBackend"
    )
    return client


@pytest.fixture
def site(pathways: list[PathwayVersion]) -> Site:
    return make_site()


def test_every_address_has_its_row() -> None:
    assert set(names_of(get_resolver().url_patterns)) == set(PAGES) | OPEN


@pytest.mark.parametrize(("name", "page", "role"), WALK, ids=[f"{name}-{role}" for name, _, role in WALK])
def test_a_role_gets_in_where_its_action_is_permitted_and_nowhere_else(
    site: Site, name: str, page: Page, role: Role
) -> None:
    given = [answer.status_code for answer in answers(signed_in(role, site), name, page, records_at(site))]
    if page.action is None or may(role.value, page.action):
        assert set(given) <= {200, 302}
    else:
        assert set(given) == {403}
    assert given


@pytest.mark.parametrize(
    ("name", "page", "role"), WALK_RECORDS, ids=[f"{name}-{role}" for name, _, role in WALK_RECORDS]
)
def test_another_site_s_record_is_not_found_and_the_look_is_kept(
    site: Site, name: str, page: Page, role: Role
) -> None:
    permitted = page.action is None or may(role.value, page.action)
    given = answers(signed_in(role, site), name, page, records_at(make_site()))
    assert {answer.status_code for answer in given} == {404 if permitted else 403}
    kept = len(given) if permitted and page.record in PATIENT_RECORDS else 0
    assert PageRead.objects.filter(refused=True).count() == kept


@pytest.mark.parametrize(("name", "page"), PAGES.items(), ids=PAGES)
def test_without_a_sign_in_every_page_asks_for_one(
    site: Site, settings: LazySettings, name: str, page: Page
) -> None:
    for answer in answers(Client(), name, page, records_at(site)):
        assert answer.status_code == 302
        assert answer.headers["Location"].startswith(reverse(settings.LOGIN_URL))


@pytest.mark.parametrize("role", list(Role))
def test_a_role_alone_does_not_open_the_administration(site: Site, role: Role) -> None:
    answer = signed_in(role, site).get(reverse("admin:index"))
    assert (answer.status_code, answer.headers["Location"].split("?")[0]) == (302, reverse("admin:login"))


@pytest.mark.parametrize("name", [name for name, page in PAGES.items() if page.action is not None])
def test_somebody_without_a_clinic_gets_nowhere(site: Site, name: str) -> None:
    client = Client()
    client.force_login(make_staff(role="surgeon"), backend="django.contrib.auth.backends.ModelBackend")
    given = answers(client, name, PAGES[name], records_at(site))
    assert {answer.status_code for answer in given} == {403}
