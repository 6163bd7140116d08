"""What a clinician can choose from when signing a decision on an eye."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from followup.models import ContactAttempt, Course, Eye, Milestone, PathwayVersion, Visit


@dataclass(frozen=True, slots=True)
class Choices:
    visits: tuple[Visit, ...]
    """Visits at which this eye was examined, the last first."""
    milestones: tuple[Milestone, ...]
    """Reviews of the present course that nobody met yet, in order."""
    pathways: tuple[PathwayVersion, ...] = ()
    """Those in use that the present course does not follow."""


def choices_for(eye: Eye) -> Choices:
    visits = Visit.objects.filter(exams__eye=eye, in_error=False)
    milestones = Milestone.objects.filter(
        course__eye=eye, course__superseded_on__isnull=True, lane="review", mark="open"
    )
    present = Course.objects.filter(eye=eye, superseded_on__isnull=True).values("pathway")
    pathways = PathwayVersion.objects.filter(active=True).exclude(pk__in=present)
    return Choices(
        tuple(visits.order_by("-day", "-id")),
        tuple(milestones.order_by("opens", "id")),
        tuple(pathways.order_by("title", "id")),
    )


def last_warning(eye: Eye) -> date | None:
    """The day of the last letter that warned of not being seen."""
    letters = ContactAttempt.objects.filter(patient=eye.patient_id, is_warning=True).order_by("-day")
    return letters.values_list("day", flat=True).first()
