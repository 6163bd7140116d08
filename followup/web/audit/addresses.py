"""Where the parts of an audit are found: of one asked now, and of one that was locked."""

from __future__ import annotations

from dataclasses import dataclass

from django.urls import reverse

from followup.models import LockedAudit
from followup.queries.cohort_choice import CohortChoice


@dataclass(frozen=True, slots=True)
class Addresses:
    """`eyes` wants the key of a list behind it."""

    page: str
    eyes: str
    svg: str
    png: str
    csv: str
    xlsx: str
    pdf: str


def of_choice(choice: CohortChoice) -> Addresses:
    def at(name: str) -> str:
        return f"{reverse(name)}?{choice.query}"

    return Addresses(
        page=at("audit"),
        eyes=f"{at('audit_eyes')}&of=",
        svg=at("audit_svg"),
        png=at("audit_png"),
        csv=at("audit_csv"),
        xlsx=at("audit_xlsx"),
        pdf=at("audit_pdf"),
    )


def of_locked(audit: LockedAudit) -> Addresses:
    def at(name: str) -> str:
        return reverse(name, args=[audit.pk])

    return Addresses(
        page=at("locked_audit"),
        eyes=f"{at('locked_eyes')}?of=",
        svg=at("locked_svg"),
        png=at("locked_png"),
        csv=at("locked_csv"),
        xlsx=at("locked_xlsx"),
        pdf=at("locked_pdf"),
    )
