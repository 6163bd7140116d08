"""Two records of one person made one, and pairs that only look alike."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from followup.models.people import Patient


class Merge(models.Model):
    """One record folded into another. Both numbers stay findable, and it can be taken back."""

    kept = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="merged_records")
    merged = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="merges")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    moved = models.JSONField(default=dict, help_text="Ids of the rows moved, by table and field.")
    undone_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    undone_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["merged"], condition=Q(undone_at__isnull=True), name="merge_once_at_a_time"
            ),
            models.CheckConstraint(condition=~Q(kept=F("merged")), name="merge_of_two_records"),
        ]

    def __str__(self) -> str:
        return f"{self.merged} into {self.kept}"


class KeptApart(models.Model):
    """Somebody looked at two records that seemed to be of one person, and they are of two."""

    first = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="+")
    second = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="+")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["first", "second"], name="kept_apart_once"),
            models.CheckConstraint(condition=Q(first__lt=F("second")), name="kept_apart_in_order"),
        ]

    def __str__(self) -> str:
        return f"{self.first} is not {self.second}"
