"""Calendars of sessions that were read in: the last file of each, and how its entries are understood."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from followup.models import choices
from followup.models.people import Site


class SessionCalendar(models.Model):
    """One calendar of a site, by its name there. The bytes are kept, so that what is confirmed was shown."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="session_calendars")
    name = models.CharField(max_length=80)
    usual_kind = models.CharField(
        max_length=10, choices=choices.SESSION_KINDS, blank=True, help_text="What an entry is, unless named."
    )
    usual_places = models.PositiveSmallIntegerField(null=True, blank=True)
    named = models.TextField(blank=True, help_text="NAME=KIND:PLACES, one a line.")
    days = models.PositiveSmallIntegerField(default=400, help_text="How far ahead it is read, from today.")
    file_name = models.CharField(max_length=200)
    content = models.BinaryField()
    read_at = models.DateTimeField()
    read_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    imported_at = models.DateTimeField(
        null=True, blank=True, help_text="When sessions were last written from it."
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["site", "name"], name="session_calendar_once_a_name"),
            models.CheckConstraint(
                condition=Q(usual_kind="", usual_places=None)
                | (~Q(usual_kind="") & Q(usual_places__isnull=False)),
                name="session_calendar_kind_with_places",
                violation_error_message="Give the usual kind and its places together, or neither.",
            ),
            models.CheckConstraint(
                condition=Q(days__range=(1, 1100)),
                name="session_calendar_1_to_1100_days",
                violation_error_message="Read 1 to 1100 days ahead.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def is_waiting(self) -> bool:
        """The last file was looked at and nothing is written from it yet."""
        return self.imported_at is None or self.imported_at < self.read_at
