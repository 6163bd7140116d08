"""Decisions that clinicians sign, and attempts to reach people."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from followup.models import choices
from followup.models.people import Eye, Patient
from followup.models.visits import Visit


class Decision(models.Model):
    """Signed for one eye; a death is signed for each eye that was operated on."""

    eye = models.ForeignKey(Eye, on_delete=models.PROTECT, related_name="decisions")
    kind = models.CharField(max_length=20, choices=choices.DECISION_KINDS)
    signed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    signed_on = models.DateField(help_text="The day it takes effect.")
    recorded_at = models.DateTimeField()
    reason = models.CharField(max_length=400)
    review_on = models.DateField(
        null=True, blank=True, help_text="Oil kept until then; or the day to be seen."
    )
    to_whom = models.CharField(max_length=200, blank=True, help_text="A transfer names where to.")
    accepted_on = models.DateField(null=True, blank=True, help_text="A transfer stays open until accepted.")
    visit = models.ForeignKey(Visit, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    milestone_key = models.CharField(max_length=60, blank=True)
    undone_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~Q(kind="keep_oil") | Q(review_on__isnull=False),
                name="decision_keep_oil_has_review",
            ),
            models.CheckConstraint(
                condition=~Q(kind="see_again") | Q(review_on__isnull=False),
                name="decision_see_again_has_date",
            ),
            models.CheckConstraint(
                condition=~Q(kind="transfer") | ~Q(to_whom=""), name="decision_transfer_names_where_to"
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="decision_has_a_reason"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, {self.signed_on}"


class ContactAttempt(models.Model):
    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="attempts")
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="Empty: the night's work.",
    )
    made_at = models.DateTimeField()
    day = models.DateField(help_text="The day at the site.")
    channel = models.CharField(max_length=12, choices=choices.CHANNELS)
    number_used = models.CharField(max_length=60, blank=True)
    result = models.CharField(max_length=20, choices=choices.CONTACT_RESULTS)
    reason = models.CharField(max_length=20, choices=choices.REASONS_NOT_ATTENDING, blank=True)
    next_step_on = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        indexes = [models.Index(fields=["patient", "day"], name="attempt_patient_day")]

    def __str__(self) -> str:
        return f"{self.patient}, {self.day}: {self.get_result_display()}"
