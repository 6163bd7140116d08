"""Operations on an eye and the fills they place."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from followup.models import choices
from followup.models.people import Eye
from followup.models.provenance import Correctable, Sourced


class Operation(Sourced, Correctable):
    eye = models.ForeignKey(Eye, on_delete=models.PROTECT, related_name="operations")
    date = models.DateField()
    date_precision = models.CharField(max_length=10, choices=choices.PRECISIONS, default="day")
    surgeon = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="operations"
    )
    surgeon_name = models.CharField(max_length=80, blank=True, help_text="Where the surgeon has no sign-in.")
    indication = models.CharField(max_length=30, choices=choices.INDICATIONS, default="unknown")
    repeat = models.CharField(max_length=10, choices=choices.REPEATS, default="first")
    extent = models.CharField(max_length=30, choices=choices.EXTENTS, default="unknown")
    tamponade_in = models.CharField(
        max_length=20, choices=choices.TAMPONADES, default="unknown", help_text="What was left in the eye."
    )
    tamponade_percent = models.PositiveSmallIntegerField(null=True, blank=True, help_text="Gas, per cent.")
    takes_out = models.BooleanField(
        default=False, help_text="The tamponade that was in the eye was taken out at this operation."
    )
    attached_at_end = models.CharField(
        max_length=10,
        choices=choices.YES_NO,
        default="unknown",
        help_text="Was the retina attached at the end of surgery?",
    )
    restarts = models.BooleanField(
        null=True,
        blank=True,
        help_text="Does follow-up start again from here? Empty: by rule, retinal surgery does.",
    )
    note = models.TextField(blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(tamponade_percent__isnull=True) | Q(tamponade_percent__lte=100),
                name="operation_gas_at_most_100_per_cent",
            ),
        ]
        indexes = [models.Index(fields=["eye", "date"], name="operation_eye_date")]

    def __str__(self) -> str:
        return f"{self.date} {self.eye}"


class OperationProcedure(models.Model):
    operation = models.ForeignKey(Operation, on_delete=models.CASCADE, related_name="procedure_rows")
    procedure = models.CharField(max_length=30, choices=choices.PROCEDURES)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["operation", "procedure"], name="procedure_once_an_operation")
        ]

    def __str__(self) -> str:
        return self.get_procedure_display()


class Fill(models.Model):
    """One stay of a tamponade in an eye. Derived from the operations; only services/pathway.py writes it."""

    eye = models.ForeignKey(Eye, on_delete=models.PROTECT, related_name="fills")
    tamponade = models.CharField(max_length=20, choices=choices.TAMPONADES)
    placed_by = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="+")
    placed_on = models.DateField()
    first_placed_on = models.DateField(help_text="First insertion of the unbroken stay, before any exchange.")
    ended_on = models.DateField(null=True, blank=True)
    ended_by = models.ForeignKey(Operation, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["eye"], condition=Q(ended_on__isnull=True), name="fill_one_open_an_eye"
            ),
            models.CheckConstraint(
                condition=Q(ended_on__isnull=True) | Q(ended_on__gte=F("placed_on")),
                name="fill_ends_after_it_began",
            ),
            models.CheckConstraint(
                condition=Q(first_placed_on__lte=F("placed_on")), name="fill_first_placed_not_later"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_tamponade_display()} since {self.placed_on}"
