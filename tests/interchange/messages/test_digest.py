"""The text of the morning digest: counts and a link, and nobody's name."""

from __future__ import annotations

from datetime import date

from django.conf import LazySettings

from followup.domain.words import Standing
from followup.interchange.messages.digest import compose_digest
from followup.models import Site
from followup.queries.reports.digest import Digest

EXPECTED = """\
Follow-up at Harbour Eye Clinic on 2 Mar 2026

Eyes newly overdue since 27 Feb 2026: 3
Eyes with oil past its limit: 1
Past appointments without an outcome: 4

Operated eyes: 21
  Needs a decision: 1
  Overdue: 5
  To book: 4
  Booked: 3
  Waiting: 2
  Closed: 6

The lists: https://follow-up.clinic.example/

This tool schedules and counts. It does not diagnose or advise treatment. A new curtain, flashes, many
floaters, pain or a sudden drop of sight need care the same day, whatever the schedule says.
"""


def test_the_digest_tells_counts_and_where_to_look(settings: LazySettings) -> None:
    settings.BASE_URL = "https://follow-up.clinic.example"
    digest = Digest(
        site=Site(name="Harbour Eye Clinic"),
        day=date(2026, 3, 2),
        since=date(2026, 2, 27),
        standings=dict(zip(Standing, [1, 5, 4, 3, 2, 6], strict=True)),
        newly_overdue=3,
        oil_past_limit=1,
        without_outcome=4,
    )
    subject, body = compose_digest(digest)
    assert subject == "Harbour Eye Clinic, 2 Mar 2026: newly overdue 3, oil past its limit 1"
    assert body == EXPECTED
