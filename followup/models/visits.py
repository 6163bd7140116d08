"""Visits, the exam of each eye, and acuity readings."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from followup.models import choices
from followup.models.booking import Appointment
from followup.models.people import Eye, Patient
from followup.models.provenance import Correctable, Sourced


class Visit(Sourced, Correctable):
    """Somebody was seen on a day."""

    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="visits")
    day = models.DateField(db_index=True)
    examiner = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    appointment = models.OneToOneField(
        Appointment, null=True, blank=True, on_delete=models.PROTECT, related_name="visit"
    )
    note = models.TextField(blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["patient", "day"], condition=Q(in_error=False), name="visit_one_a_person_a_day"
            )
        ]

    def __str__(self) -> str:
        return f"{self.patient}, {self.day}"


class Exam(Sourced):
    """The findings of one eye at a visit."""

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="exams")
    eye = models.ForeignKey(Eye, on_delete=models.PROTECT, related_name="exams")
    pressure_mmhg = models.PositiveSmallIntegerField(null=True, blank=True)
    pressure_text = models.CharField(
        max_length=40, blank=True, help_text="Where pressure is a word: soft, firm."
    )
    retina = models.CharField(max_length=20, choices=choices.RETINAS, default="not_examined")
    hole = models.CharField(max_length=20, choices=choices.HOLES, default="not_examined")
    outer_retina = models.CharField(max_length=20, choices=choices.OUTER_RETINAS, default="not_examined")
    lens = models.CharField(max_length=20, choices=choices.LENSES, default="not_examined")
    tamponade_seen = models.CharField(max_length=20, choices=choices.TAMPONADES_SEEN, default="not_examined")
    fill_percent = models.PositiveSmallIntegerField(null=True, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["visit", "eye"], name="exam_one_an_eye_a_visit"),
            models.CheckConstraint(
                condition=Q(pressure_mmhg__isnull=True) | Q(pressure_mmhg__lte=80),
                name="exam_pressure_plausible",
            ),
            models.CheckConstraint(
                condition=Q(fill_percent__isnull=True) | Q(fill_percent__lte=100),
                name="exam_fill_at_most_100",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.eye}, {self.visit.day}"


class ExamComplication(models.Model):
    exam = models.ForeignKey(Exam, on_delete=models.CASCADE, related_name="complication_rows")
    complication = models.CharField(max_length=30, choices=choices.COMPLICATIONS)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["exam", "complication"], name="complication_once_an_exam")
        ]

    def __str__(self) -> str:
        return self.get_complication_display()


class AcuityReading(Sourced):
    """Acuity as written and as logMAR; below the chart a category and no number."""

    exam = models.ForeignKey(Exam, on_delete=models.CASCADE, related_name="acuities")
    as_written = models.CharField(max_length=60)
    notation = models.CharField(max_length=20)
    correction = models.CharField(max_length=20, choices=choices.CORRECTIONS, default="unknown")
    logmar = models.DecimalField(max_digits=6, decimal_places=4, null=True, blank=True)
    category = models.CharField(max_length=30, blank=True)
    approximate = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["exam", "correction"], name="acuity_one_a_correction_an_exam"),
            models.CheckConstraint(
                condition=Q(logmar__isnull=False, category="") | (Q(logmar__isnull=True) & ~Q(category="")),
                name="acuity_number_or_category",
            ),
        ]

    def __str__(self) -> str:
        return self.as_written
