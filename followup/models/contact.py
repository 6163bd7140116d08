"""What a person agreed to receive, and the letters printed for them."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from followup.models import choices
from followup.models.booking import Appointment
from followup.models.people import Patient


class Consent(models.Model):
    """A person agreed to be reached on one channel: in writing, or through the next of kin.

    Withdrawn, it stays; given again, another row.
    """

    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="consents")
    channel = models.CharField(max_length=12, choices=choices.CONSENT_CHANNELS)
    given_on = models.DateField()
    given_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", help_text="Who was told."
    )
    withdrawn_on = models.DateField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="Who was told; nobody where the person used the address in a message.",
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["patient", "channel"],
                condition=Q(withdrawn_on__isnull=True),
                name="consent_one_in_force_a_channel",
            ),
            models.CheckConstraint(
                condition=Q(withdrawn_on__isnull=True) | Q(withdrawn_on__gte=F("given_on")),
                name="consent_withdrawn_after_given",
            ),
            models.CheckConstraint(
                condition=Q(withdrawn_by__isnull=True) | Q(withdrawn_on__isnull=False),
                name="consent_withdrawn_on_a_day",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.patient}, {self.get_channel_display()}"


class PrintedLetter(models.Model):
    """A letter that was printed; an appointment's letter counts for the date it was printed for."""

    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="letters")
    kind = models.CharField(max_length=20, choices=choices.LETTER_KINDS)
    appointment = models.ForeignKey(
        Appointment, null=True, blank=True, on_delete=models.PROTECT, related_name="letters"
    )
    sequence = models.PositiveIntegerField(
        null=True, blank=True, help_text="Sequence number of the appointment when printed."
    )
    printed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    printed_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~Q(kind="appointment") | Q(appointment__isnull=False, sequence__isnull=False),
                name="letter_of_appointment_names_it",
            )
        ]

    def __str__(self) -> str:
        return f"{self.patient}, {self.get_kind_display()}, {self.printed_at:%Y-%m-%d}"
