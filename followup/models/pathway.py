"""Pathway versions, the course an eye follows, and its stored milestone windows."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from followup.models import choices
from followup.models.operations import Operation
from followup.models.people import Eye


class PathwayVersion(models.Model):
    """One accepted text of a pathway. Never edited: an edit makes the next version."""

    key = models.SlugField(max_length=60)
    version = models.PositiveSmallIntegerField()
    title = models.CharField(max_length=120)
    text = models.TextField(help_text="The pathway file (TOML) as accepted.")
    active = models.BooleanField(default=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["key", "version"], name="pathway_version_once"),
            models.UniqueConstraint(
                fields=["key"], condition=Q(active=True), name="pathway_one_active_version"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.title} (version {self.version})"


class Course(models.Model):
    """One eye following one pathway version, from the operation that anchors it."""

    eye = models.ForeignKey(Eye, on_delete=models.PROTECT, related_name="courses")
    pathway = models.ForeignKey(PathwayVersion, on_delete=models.PROTECT, related_name="courses")
    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="courses")
    anchor = models.DateField()
    chosen_for = models.CharField(
        max_length=32, blank=True, help_text="Fingerprint of the facts that chose the pathway."
    )
    superseded_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["eye"], condition=Q(superseded_on__isnull=True), name="course_one_open_an_eye"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.eye}: {self.pathway} from {self.anchor}"


class Milestone(models.Model):
    """One planned review or removal with its window. Written only by services, through the pure planner."""

    course = models.ForeignKey(Course, on_delete=models.CASCADE, related_name="milestones")
    key = models.CharField(max_length=60)
    title = models.CharField(max_length=120)
    lane = models.CharField(max_length=10, choices=choices.LANES)
    one_off = models.BooleanField(default=False)
    opens = models.DateField()
    target = models.DateField()
    closes = models.DateField()
    period_ends = models.DateField(
        null=True, blank=True, help_text="Last day a visit meets it; empty: no end."
    )
    mark = models.CharField(max_length=12, choices=choices.MARKS, default="open")
    met_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["course", "key"], name="milestone_key_once_a_course"),
            models.CheckConstraint(
                condition=Q(opens__lte=F("target")) & Q(target__lte=F("closes")),
                name="milestone_window_order",
            ),
        ]
        indexes = [models.Index(fields=["mark", "opens"], name="milestone_mark_opens")]

    def __str__(self) -> str:
        return f"{self.title} ({self.target})"
