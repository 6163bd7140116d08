"""Decisions that clinicians sign, what people report, and attempts to reach them."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from followup.models import choices
from followup.models.operations import Operation
from followup.models.pathway import PathwayVersion
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
    operation = models.ForeignKey(
        Operation,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="A change of pathway: the operation whose course it moves.",
    )
    pathway = models.ForeignKey(
        PathwayVersion, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    pathway_before = models.ForeignKey(
        PathwayVersion, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
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
            models.CheckConstraint(
                condition=~Q(kind="change_pathway")
                | Q(operation__isnull=False, pathway__isnull=False, pathway_before__isnull=False),
                name="decision_change_of_pathway_says_which",
            ),
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
    is_warning = models.BooleanField(
        default=False, help_text="A letter that says what is at stake if the eye is not seen."
    )
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(is_warning=False) | Q(channel="letter"), name="attempt_warning_is_a_letter"
            )
        ]
        indexes = [models.Index(fields=["patient", "day"], name="attempt_patient_day")]

    def __str__(self) -> str:
        return f"{self.patient}, {self.day}: {self.get_result_display()}"


class SymptomReport(models.Model):
    """Somebody told of new symptoms: first on every list until a clinician has signed what to do."""

    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="symptom_reports")
    day = models.DateField(help_text="The day at the site.")
    reported_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=400)
    answer = models.CharField(max_length=400, blank=True)
    answered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    answered_at = models.DateTimeField(null=True, blank=True)
    answered_on = models.DateField(null=True, blank=True, help_text="The day at the site.")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    answer="", answered_by__isnull=True, answered_at__isnull=True, answered_on__isnull=True
                )
                | ~Q(answer="")
                & Q(answered_by__isnull=False, answered_at__isnull=False, answered_on__isnull=False),
                name="report_answer_says_who_and_when",
            )
        ]
        indexes = [
            models.Index(fields=["patient"], condition=Q(answered_at__isnull=True), name="report_open")
        ]

    def __str__(self) -> str:
        return f"{self.patient}, {self.day}: {self.note}"


class CallClaim(models.Model):
    """Somebody is on the telephone with this person, or was a moment ago: a claim that runs out by itself."""

    patient = models.OneToOneField(Patient, on_delete=models.CASCADE, related_name="call_claim")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    until = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.patient}, {self.by} until {self.until:%H:%M}"
