"""The history of every change, who looked, the outbox, the night's runs and calendar addresses."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from followup.models import choices
from followup.models.people import Patient, Site


class Change(models.Model):
    """One action of one person: what it touched, the values before and after. Append-only."""

    at = models.DateTimeField(db_index=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="Empty: the night's work.",
    )
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="+")
    patient = models.ForeignKey(
        Patient, null=True, blank=True, on_delete=models.PROTECT, related_name="changes"
    )
    verb = models.CharField(max_length=40)
    subject = models.CharField(max_length=40, help_text="Kind of record.")
    subject_id = models.BigIntegerField(null=True, blank=True)
    before = models.JSONField(default=dict)
    after = models.JSONField(default=dict)

    class Meta:
        indexes = [models.Index(fields=["subject", "subject_id"], name="change_subject")]

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d %H:%M} {self.verb}"


class PageRead(models.Model):
    """Somebody opened, or was refused, a patient's page."""

    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="reads")
    page = models.CharField(max_length=200)
    refused = models.BooleanField(default=False)

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d %H:%M} {self.by}"


class OutboxMessage(models.Model):
    """One message to send, once for its key. Claimed by compare-and-set with a lease, then sent."""

    STATES = [
        ("due", "Due"),
        ("sending", "Sending"),
        ("sent", "Sent"),
        ("withheld", "Withheld"),
        ("failed", "Failed"),
    ]
    CHANNELS = [("email", "E-mail"), ("text", "Text message")]

    key = models.CharField(max_length=160, unique=True, help_text="What it is about: one row for ever.")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="messages")
    kind = models.CharField(max_length=30)
    channel = models.CharField(max_length=10, choices=CHANNELS, default="email")
    to = models.TextField(help_text="Addresses, one a line; one telephone number for a text message.")
    subject = models.CharField(max_length=200)
    body = models.TextField()
    calendar = models.TextField(blank=True, help_text="The iCalendar part of an invitation.")
    state = models.CharField(max_length=10, choices=STATES, default="due")
    due_at = models.DateTimeField()
    lease_until = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    sent_at = models.DateTimeField(null=True, blank=True)
    problem = models.CharField(max_length=400, blank=True)

    class Meta:
        indexes = [
            models.Index(fields=["due_at"], condition=Q(state__in=["due", "sending"]), name="outbox_due")
        ]

    def __str__(self) -> str:
        return self.key


class NightRun(models.Model):
    """The night's steps of one site on one local day; the row is claimed before the work."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="nights")
    job = models.CharField(max_length=40)
    day = models.DateField()
    started_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)
    lease_until = models.DateTimeField()
    problem = models.CharField(max_length=400, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["site", "job", "day"], name="night_once_a_day")]

    def __str__(self) -> str:
        return f"{self.job} {self.site} {self.day}"


class CalendarAddress(models.Model):
    """A secret, revocable address of a calendar: a site's, or a part of it. Only the token's hash is kept."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="calendar_addresses")
    label = models.CharField(max_length=80)
    session_kind = models.CharField(
        max_length=10, choices=choices.SESSION_KINDS, blank=True, help_text="Empty: every kind."
    )
    surgeon = models.CharField(
        max_length=90,
        blank=True,
        help_text="Whose operated eyes it is about, as an audit names them. Empty: all.",
    )
    token_hash = models.CharField(max_length=64, unique=True)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return self.label
