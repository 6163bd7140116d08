"""The text of the morning digest: counts and links, no names."""

from __future__ import annotations

from django.conf import settings

from followup.domain.words import Standing
from followup.queries.reports.digest import Digest

_CAUTION = (
    "This tool schedules and counts. It does not diagnose or advise treatment. A new curtain, flashes, many\n"
    "floaters, pain or a sudden drop of sight need care the same day, whatever the schedule says."
)


def compose_digest(digest: Digest) -> tuple[str, str]:
    """Subject and body."""
    day = f"{digest.day:%-d %b %Y}"
    subject = f"{digest.site.name}, {day}: newly overdue {digest.newly_overdue}"
    subject += f", oil past its limit {digest.oil_past_limit}"
    link = f"The lists: {settings.BASE_URL.rstrip('/')}/"
    parts = [f"Follow-up at {digest.site.name} on {day}", _attention(digest), _standings(digest), link]
    return subject, "\n\n".join([*parts, _CAUTION]) + "\n"


def _attention(digest: Digest) -> str:
    return (
        f"Eyes newly overdue since {digest.since:%-d %b %Y}: {digest.newly_overdue}\n"
        f"Eyes with oil past its limit: {digest.oil_past_limit}\n"
        f"Past appointments without an outcome: {digest.without_outcome}"
    )


def _standings(digest: Digest) -> str:
    lines = [f"  {standing.label}: {digest.standings[standing]}" for standing in Standing]
    return "\n".join([f"Operated eyes: {digest.operated}", *lines])
