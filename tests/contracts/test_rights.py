"""Every address with every role: who gets in, and that nobody reaches another site's records.

A page without a row here fails. Its row says which action it takes, and what kind of record its number is.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from urllib.parse import quote

import pytest
from django.conf import LazySettings
from django.db import transaction
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from followup.domain.roles import Action, Role, may
from followup.models import ImportBatch, Merge, PageRead, PathwayVersion, Site
from followup.queries.cohort_choice import CohortChoice
from followup.queries.reports.audit_method import Definition
from followup.services.audits import lock_audit
from followup.services.pathway import replan_eyes
from tests.builders import (
    NOW,
    make_appointment,
    make_calendar_address,
    make_closure,
    make_decision,
    make_exam,
    make_exception,
    make_oil_operation,
    make_patient,
    make_pattern,
    make_report,
    make_session,
    make_session_calendar,
    make_site,
    make_staff,
    make_unavailable,
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
    "standings_json": Page(None),
    "choose_site": Page(None),
    "recall": Page(Action.SEE_LISTS),
    "questions": Page(Action.SEE_LISTS),
    "oil": Page(Action.SEE_LISTS),
    "without_outcome": Page(Action.SEE_LISTS),
    "sessions": Page(Action.SEE_LISTS),
    "session": Page(Action.SEE_LISTS, "session"),
    "open_session": Page(Action.BOOK),
    "cancel_session": Page(Action.BOOK, "session"),
    "session_calendars": Page(Action.IMPORT),
    "session_calendar": Page(Action.IMPORT, "session_calendar"),
    "rota": Page(Action.SEE_LISTS),
    "open_rota": Page(Action.BOOK),
    "add_pattern": Page(Action.BOOK),
    "end_pattern": Page(Action.BOOK, "pattern"),
    "except_day": Page(Action.BOOK, "pattern"),
    "remove_exception": Page(Action.BOOK, "exception"),
    "add_closure": Page(Action.BOOK),
    "remove_closure": Page(Action.BOOK, "closure"),
    "load": Page(Action.SEE_LISTS),
    "proposal": Page(Action.BOOK),
    "unavailable": Page(Action.BOOK, "patient"),
    "remove_unavailable": Page(Action.BOOK, "unavailable"),
    "book": Page(Action.BOOK, "eye"),
    "move": Page(Action.BOOK, "appointment"),
    "cancel": Page(Action.BOOK, "appointment"),
    "arrived": Page(Action.BOOK, "appointment"),
    "attended": Page(Action.BOOK, "appointment"),
    "not_attended": Page(Action.BOOK, "appointment"),
    "answers": Page(Action.BOOK),
    "attempt": Page(Action.CONTACT, "patient"),
    "calls": Page(Action.CONTACT),
    "next_call": Page(Action.CONTACT),
    "call": Page(Action.CONTACT, "patient"),
    "call_later": Page(Action.CONTACT, "patient"),
    "recall_measures": Page(Action.AUDIT),
    "recall_measures_csv": Page(Action.AUDIT),
    "recall_measures_svg": Page(Action.AUDIT),
    "find_symptoms": Page(Action.REPORT_SYMPTOMS),
    "report_symptoms": Page(Action.REPORT_SYMPTOMS, "patient"),
    "answer_symptoms": Page(Action.SIGN_DECISION, "report"),
    "consents": Page(Action.CONTACT, "patient"),
    "letters": Page(Action.CONTACT),
    "appointment_letter": Page(Action.CONTACT, "appointment"),
    "not_reached_letter": Page(Action.CONTACT, "patient"),
    "oil_letter": Page(Action.CONTACT, "eye"),
    "search": Page(Action.SEE_PATIENTS),
    "register": Page(Action.EDIT_PATIENTS),
    "patient": Page(Action.SEE_PATIENTS, "patient"),
    "history": Page(Action.SEE_PATIENTS, "patient"),
    "duplicates": Page(Action.EDIT_PATIENTS),
    "beside": Page(Action.EDIT_PATIENTS, "patient"),
    "undo_merge": Page(Action.EDIT_PATIENTS, "merge"),
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
    "decide": Page(Action.SIGN_DECISION, "eye"),
    "undo_decision": Page(Action.SIGN_DECISION, "decision"),
    "accept_transfer": Page(Action.ACCEPT_TRANSFER, "decision"),
    "record_death": Page(Action.RECORD_DEATH, "patient"),
    "confirm_death": Page(Action.RECORD_DEATH, "patient"),
    "undo_death": Page(Action.RECORD_DEATH, "patient"),
    "calendar_addresses": Page(Action.MANAGE_SITE),
    "revoke_calendar": Page(Action.MANAGE_SITE, "calendar"),
    "staff": Page(Action.MANAGE_SITE),
    "add_staff": Page(Action.MANAGE_SITE),
    "change_staff": Page(Action.MANAGE_SITE, "staff"),
    "set_password": Page(Action.MANAGE_SITE, "staff"),
    "own_password": Page(None),
    "site_settings": Page(Action.MANAGE_SITE),
    "pathways": Page(Action.SEE_LISTS),
    "edit_pathway": Page(Action.EDIT_PATHWAYS, PATHWAY),
    "imports": Page(Action.IMPORT),
    "import": Page(Action.IMPORT, "import"),
    "import_columns": Page(Action.IMPORT, "import"),
    "import_confirm": Page(Action.IMPORT, "import"),
    "import_stop": Page(Action.IMPORT, "import"),
    "import_undo": Page(Action.IMPORT, "import"),
    "import_again": Page(Action.IMPORT, "import"),
    "import_discard": Page(Action.IMPORT, "import"),
    "import_problems": Page(Action.IMPORT, "import"),
    "exports": Page(Action.AUDIT),
    "recall_csv": Page(Action.SEE_LISTS),
    "recall_xlsx": Page(Action.SEE_LISTS),
    "oil_csv": Page(Action.SEE_LISTS),
    "oil_xlsx": Page(Action.SEE_LISTS),
    "audit": Page(Action.AUDIT),
    "audit_svg": Page(Action.AUDIT),
    "audit_png": Page(Action.AUDIT),
    "audit_csv": Page(Action.AUDIT),
    "audit_xlsx": Page(Action.AUDIT),
    "audit_eyes": Page(Action.AUDIT),
    "audit_pdf": Page(Action.AUDIT),
    "audit_monitor": Page(Action.AUDIT),
    "audit_monitor_svg": Page(Action.AUDIT),
    "audit_monitor_csv": Page(Action.AUDIT),
    "lock_audit": Page(Action.LOCK_AUDIT),
    "locked_audits": Page(Action.AUDIT),
    "locked_audit": Page(Action.AUDIT, "audit"),
    "withdraw_audit": Page(Action.LOCK_AUDIT, "audit"),
    "locked_eyes": Page(Action.AUDIT, "audit"),
    "locked_differing": Page(Action.AUDIT, "audit"),
    "locked_svg": Page(Action.AUDIT, "audit"),
    "locked_png": Page(Action.AUDIT, "audit"),
    "locked_csv": Page(Action.AUDIT, "audit"),
    "locked_xlsx": Page(Action.AUDIT, "audit"),
    "locked_pdf": Page(Action.AUDIT, "audit"),
}

OPEN = {"sign_in", "sign_out", "cannot_come", "stop_messages", "calendar"}
"""Without a sign-in: the calendar's address is itself the secret."""


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
    exception = make_exception(pattern=make_pattern(site=site))
    sheet = ImportBatch.objects.create(site=site, file_name="log.csv", content=b"no,eye\n1,R\n", made_at=NOW)
    appointment = make_appointment(patient=operation.eye.patient, session=session)
    merge = Merge.objects.create(
        kept=operation.eye.patient,
        merged=make_patient(site=site),
        by=make_staff(site=site),
        at=NOW,
        moved={"rows": [], "details": {}},
    )
    audit = lock_audit(
        by=make_staff(site=site, role="auditor"),
        now=NOW,
        choice=CohortChoice(site_id=site.pk, lock=NOW.date()),
        title="Two years",
        definitions=[Definition("Unit", "One eye.")],
    )
    return {
        "audit": audit.pk,
        "merge": merge.pk,
        "patient": operation.eye.patient_id,
        "eye": operation.eye_id,
        "operation": operation.pk,
        "visit": exam.visit_id,
        "session": session.pk,
        "pattern": exception.pattern_id,
        "exception": exception.pk,
        "closure": make_closure(site=site).pk,
        "unavailable": make_unavailable(patient=operation.eye.patient).pk,
        "import": sheet.pk,
        "appointment": appointment.pk,
        "decision": make_decision(eye=operation.eye, kind="transfer", to_whom="Hill Eye Clinic").pk,
        "report": make_report(patient=operation.eye.patient).pk,
        "calendar": make_calendar_address(site=site).pk,
        "staff": make_staff(site=site).pk,
        "session_calendar": make_session_calendar(site=site).pk,
    }


def signed_in(role: Role, *sites: Site) -> Client:
    client = Client()
    client.force_login(
        make_staff(role=role.value, sites=sites), backend="django.contrib.auth.backends.ModelBackend"
    )
    return client


def address_of(name: str, page: Page, records: dict[str, int]) -> str:
    if page.record == PATHWAY:
        return reverse(name, kwargs={"key": "after-gas"})
    return reverse(name, kwargs={"pk": records[page.record]} if page.record else {})


def verdict(client: Client, name: str, page: Page, records: dict[str, int]) -> str:
    """What GET and POST come to, leaving nothing behind; a method that the page does not know is left out."""
    address = address_of(name, page, records)
    with transaction.atomic():
        given = {client.get(address).status_code, client.post(address).status_code} - {405}
        transaction.set_rollback(True)
    return VERDICTS.get(frozenset(given), f"answers {sorted(given)}")


VERDICTS = {
    frozenset({200}): "gets in",
    frozenset({302}): "gets in",
    frozenset({200, 302}): "gets in",
    frozenset({403}): "refused",
    frozenset({404}): "not found",
}


def walk(client: Client, pages: dict[str, Page], records: dict[str, int]) -> dict[str, str]:
    return {name: verdict(client, name, page, records) for name, page in pages.items()}


def permitted(page: Page, role: Role) -> bool:
    return page.action is None or may(role.value, page.action)


@pytest.fixture
def site(pathways: list[PathwayVersion]) -> Site:
    return make_site()


def test_every_address_has_its_row() -> None:
    assert set(names_of(get_resolver().url_patterns)) == set(PAGES) | OPEN


@pytest.mark.parametrize("role", list(Role))
def test_a_role_gets_in_where_its_action_is_permitted_and_nowhere_else(site: Site, role: Role) -> None:
    expected = {name: "gets in" if permitted(page, role) else "refused" for name, page in PAGES.items()}
    assert walk(signed_in(role, site), PAGES, records_at(site)) == expected


@pytest.mark.parametrize("role", list(Role))
def test_another_site_s_records_are_not_found(site: Site, role: Role) -> None:
    pages = {name: page for name, page in PAGES.items() if page.record not in ("", PATHWAY)}
    expected = {name: "not found" if permitted(page, role) else "refused" for name, page in pages.items()}
    assert walk(signed_in(role, site), pages, records_at(make_site())) == expected


@pytest.mark.parametrize("record", ["patient", "eye", "operation", "visit", "appointment"])
def test_a_refused_look_at_another_site_s_patient_is_kept(site: Site, record: str) -> None:
    records = records_at(make_site())
    pages = [name for name, page in PAGES.items() if page.record == record]
    client = signed_in(Role.SURGEON, site)
    for name in pages:
        address = reverse(name, kwargs={"pk": records[record]})
        answers = [client.get(address), client.post(address)]
        refused = sum(answer.status_code == 404 for answer in answers)
        kept = PageRead.objects.filter(page=address, refused=True, patient_id=records["patient"])
        assert (name, kept.count()) == (name, refused)


def test_without_a_sign_in_every_page_asks_for_one(site: Site, settings: LazySettings) -> None:
    records = records_at(site)
    for name, page in PAGES.items():
        address = address_of(name, page, records)
        answer = Client().get(address)
        expected = f"{reverse(settings.LOGIN_URL)}?next={quote(address)}"
        assert (name, answer.headers.get("Location")) == (name, expected)


def test_somebody_without_a_clinic_gets_nowhere(site: Site) -> None:
    pages = {name: page for name, page in PAGES.items() if permitted(page, Role.SURGEON)}
    expected = dict.fromkeys(pages, "refused")
    assert walk(signed_in(Role.SURGEON), pages, records_at(site)) == expected


@pytest.mark.parametrize("role", list(Role))
def test_a_role_alone_does_not_open_the_administration(site: Site, role: Role) -> None:
    answer = signed_in(role, site).get(reverse("admin:index"))
    assert (answer.status_code, answer.headers["Location"].split("?")[0]) == (302, reverse("admin:login"))
