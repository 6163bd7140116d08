"""Audits that were locked: what was asked, the rows that answered, and the figures they gave."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from followup.models.people import Site


class LockedAudit(models.Model):
    """Never changed and never deleted; one that should not be used any more is withdrawn, with the reason."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="locked_audits")
    other_sites = models.ManyToManyField(Site, blank=True, related_name="+")
    title = models.CharField(max_length=120)
    address = models.TextField(help_text="The choice as the part of an address after the question mark.")
    lock = models.DateField(help_text="Data lock: nothing dated later was looked at.")
    minimum_at_risk = models.PositiveSmallIntegerField()
    frozen = models.BinaryField(help_text="The choice and its rows, canonical JSON, compressed.")
    rows_digest = models.CharField(max_length=64, help_text="SHA-256 of the canonical JSON.")
    figures = models.JSONField(help_text="Names and figures, in the order in which they were shown.")
    definitions = models.JSONField(help_text="Terms and texts, as they were printed.")
    figures_digest = models.CharField(
        max_length=64, help_text="SHA-256 of figures, definitions and fewest at risk as canonical JSON."
    )
    program = models.CharField(max_length=200, help_text="What counted the figures, with its versions.")
    eyes = models.PositiveIntegerField()
    locked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    locked_at = models.DateTimeField()
    withdrawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_because = models.CharField(max_length=200, blank=True)
    superseded_by = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="supersedes"
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(withdrawn_at=None, withdrawn_by=None, withdrawn_because="")
                | (Q(withdrawn_at__isnull=False, withdrawn_by__isnull=False) & ~Q(withdrawn_because="")),
                name="audit_withdrawn_says_by_whom_and_why",
            ),
            models.CheckConstraint(
                condition=Q(superseded_by=None) | (Q(withdrawn_at__isnull=False) & ~Q(superseded_by=F("id"))),
                name="audit_superseded_is_withdrawn",
            ),
            models.CheckConstraint(condition=Q(eyes__gt=0), name="audit_locked_has_eyes"),
        ]

    def __str__(self) -> str:
        return self.title
