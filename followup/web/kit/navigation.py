"""The pages a role can go to, in the order they are worked through."""

from __future__ import annotations

from dataclasses import dataclass

from django.urls import reverse

from followup.domain.roles import Action, may


@dataclass(frozen=True, slots=True)
class Place:
    title: str
    address: str
    current: bool


_PLACES: list[tuple[str, str, Action | None]] = [
    ("Home", "home", None),
    ("Recall", "recall", Action.SEE_LISTS),
    ("Telephone day", "calls", Action.CONTACT),
    ("Tamponade in place", "oil", Action.SEE_LISTS),
    ("Needs a decision", "questions", Action.SEE_LISTS),
    ("Letters", "letters", Action.CONTACT),
    ("Sessions", "sessions", Action.SEE_LISTS),
    ("Proposed bookings", "proposal", Action.BOOK),
    ("Load ahead", "load", Action.SEE_LISTS),
    ("Answers", "answers", Action.BOOK),
    ("Without an outcome", "without_outcome", Action.SEE_LISTS),
    ("Audit", "audit", Action.AUDIT),
    ("Recall in numbers", "recall_measures", Action.AUDIT),
    ("Imports", "imports", Action.IMPORT),
    ("Take records out", "exports", Action.AUDIT),
    ("Staff", "staff", Action.MANAGE_SITE),
    ("Calendar addresses", "calendar_addresses", Action.MANAGE_SITE),
    ("Pathways", "pathways", Action.SEE_LISTS),
]


def places_for(role: str, path: str) -> list[Place]:
    """Navigation for a role; the page that is open is marked."""
    places = []
    for title, name, action in _PLACES:
        if action is None or may(role, action):
            address = reverse(name)
            places.append(Place(title, address, path == address))
    return places
