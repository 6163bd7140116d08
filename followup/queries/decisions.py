"""What a clinician can choose from when signing a decision on an eye."""

from __future__ import annotations

from dataclasses import dataclass

from followup.models import Eye, Milestone, Visit


@dataclass(frozen=True, slots=True)
class Choices:
    visits: tuple[Visit, ...]
    """Visits at which this eye was examined, the last first."""
    milestones: tuple[Milestone, ...]
    """Reviews of the present course that nobody met yet, in order."""


def choices_for(eye: Eye) -> Choices:
    visits = Visit.objects.filter(exams__eye=eye, in_error=False)
    milestones = Milestone.objects.filter(
        course__eye=eye, course__superseded_on__isnull=True, lane="review", mark="open"
    )
    return Choices(tuple(visits.order_by("-day", "-id")), tuple(milestones.order_by("opens", "id")))
