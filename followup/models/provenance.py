"""Where a record came from, and how a wrong one drops out of the rules without being deleted."""

from __future__ import annotations

from django.conf import settings
from django.db import models


class Sourced(models.Model):
    """A record typed by a person, or read from a row of an imported sheet."""

    source_row = models.ForeignKey(
        "followup.ImportRow",
        null=True,
        blank=True,
        editable=False,
        on_delete=models.SET_NULL,
        related_name="+",
    )

    class Meta:
        abstract = True


class Correctable(models.Model):
    """Nothing clinical is deleted: a wrong entry is marked, with who, when and why."""

    in_error = models.BooleanField(default=False, db_index=True)
    in_error_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    in_error_at = models.DateTimeField(null=True, blank=True)
    in_error_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        abstract = True
