"""Who may do what: one table, read by pages, services and the rights test."""

from __future__ import annotations

from enum import StrEnum


class Role(StrEnum):
    COORDINATOR = "coordinator"
    SURGEON = "surgeon"
    AUDITOR = "auditor"
    ADMINISTRATOR = "administrator"

    @property
    def label(self) -> str:
        return self.value.capitalize()


class Action(StrEnum):
    SEE_LISTS = "see_lists"
    SEE_PATIENTS = "see_patients"
    EDIT_PATIENTS = "edit_patients"
    BOOK = "book"
    CONTACT = "contact"
    RECORD_VISIT = "record_visit"
    RECORD_OPERATION = "record_operation"
    SIGN_DECISION = "sign_decision"
    ACCEPT_TRANSFER = "accept_transfer"
    RECORD_DEATH = "record_death"
    REPORT_SYMPTOMS = "report_symptoms"
    AUDIT = "audit"
    LOCK_AUDIT = "lock_audit"
    IMPORT = "import"
    TAKE_OUT = "take_out"
    MANAGE_SITE = "manage_site"
    EDIT_PATHWAYS = "edit_pathways"


_CLINICAL = frozenset({Role.COORDINATOR, Role.SURGEON})

PERMITTED: dict[Action, frozenset[Role]] = {
    Action.SEE_LISTS: frozenset({Role.COORDINATOR, Role.SURGEON, Role.ADMINISTRATOR}),
    Action.SEE_PATIENTS: frozenset({Role.COORDINATOR, Role.SURGEON, Role.ADMINISTRATOR}),
    Action.EDIT_PATIENTS: _CLINICAL,
    Action.BOOK: _CLINICAL,
    Action.CONTACT: _CLINICAL,
    Action.RECORD_VISIT: _CLINICAL,
    Action.RECORD_OPERATION: _CLINICAL,
    Action.SIGN_DECISION: frozenset({Role.SURGEON}),
    Action.ACCEPT_TRANSFER: _CLINICAL,
    Action.RECORD_DEATH: _CLINICAL,
    Action.REPORT_SYMPTOMS: frozenset(Role),
    Action.AUDIT: frozenset({Role.AUDITOR, Role.SURGEON, Role.ADMINISTRATOR}),
    Action.LOCK_AUDIT: frozenset({Role.AUDITOR, Role.SURGEON}),
    Action.IMPORT: frozenset({Role.COORDINATOR, Role.SURGEON, Role.ADMINISTRATOR}),
    Action.TAKE_OUT: frozenset({Role.SURGEON, Role.ADMINISTRATOR}),
    Action.EDIT_PATHWAYS: frozenset({Role.SURGEON, Role.ADMINISTRATOR}),
    Action.MANAGE_SITE: frozenset({Role.ADMINISTRATOR}),
}


def may(role: str, action: Action) -> bool:
    """True if this role may take this action; an unknown role may do nothing."""
    return role in {permitted.value for permitted in PERMITTED[action]}
