"""Who may do what, as one table; a new role or action that is not in it fails here."""

from __future__ import annotations

import pytest

from followup.domain.roles import Action, Role, may

COORDINATOR, SURGEON, AUDITOR, ADMINISTRATOR = Role

ALLOWED = {
    Action.SEE_LISTS: {COORDINATOR, SURGEON, ADMINISTRATOR},
    Action.SEE_PATIENTS: {COORDINATOR, SURGEON, ADMINISTRATOR},
    Action.EDIT_PATIENTS: {COORDINATOR, SURGEON},
    Action.BOOK: {COORDINATOR, SURGEON},
    Action.CONTACT: {COORDINATOR, SURGEON},
    Action.RECORD_VISIT: {COORDINATOR, SURGEON},
    Action.RECORD_OPERATION: {COORDINATOR, SURGEON},
    Action.SIGN_DECISION: {SURGEON},
    Action.ACCEPT_TRANSFER: {COORDINATOR, SURGEON},
    Action.RECORD_DEATH: {COORDINATOR, SURGEON},
    Action.REPORT_SYMPTOMS: {COORDINATOR, SURGEON, AUDITOR, ADMINISTRATOR},
    Action.AUDIT: {AUDITOR, SURGEON, ADMINISTRATOR},
    Action.LOCK_AUDIT: {SURGEON, AUDITOR},
    Action.IMPORT: {COORDINATOR, SURGEON, ADMINISTRATOR},
    Action.TAKE_OUT: {SURGEON, ADMINISTRATOR},
    Action.EDIT_PATHWAYS: {SURGEON, ADMINISTRATOR},
    Action.MANAGE_SITE: {ADMINISTRATOR},
}


@pytest.mark.parametrize("action", Action)
@pytest.mark.parametrize("role", Role)
def test_each_role_may_do_what_its_work_needs_and_no_more(role: Role, action: Action) -> None:
    assert may(role, action) == (role in ALLOWED[action])


@pytest.mark.parametrize("role", ["", "SURGEON", "visitor"])
def test_an_unknown_role_may_do_nothing(role: str) -> None:
    assert not any(may(role, action) for action in Action)


def test_a_role_is_shown_by_its_name() -> None:
    assert [role.label for role in Role] == ["Coordinator", "Surgeon", "Auditor", "Administrator"]
