"""Sites, staff, patients and their eyes."""

from __future__ import annotations

from django.conf import settings
from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import F, Q

from followup.models import choices
from followup.models.provenance import Sourced
from followup.models.pseudonyms import Pseudonymous


class Site(models.Model):
    """One clinic with its own time zone, booking horizon and way of writing acuity."""

    name = models.CharField(max_length=120, unique=True)
    time_zone = models.CharField(max_length=64, default="UTC")
    phone = models.CharField(max_length=40, blank=True, help_text="Clinic telephone, printed on messages.")
    urgent_phone = models.CharField(max_length=40, blank=True, help_text="Out-of-hours telephone.")
    horizon_days = models.PositiveSmallIntegerField(
        default=42, help_text="Milestones opening within this many days are to be booked."
    )
    ladder = models.TextField(
        blank=True,
        help_text="The clinic's own recall ladder, written like fixtures/ladder.toml. Empty: the usual one.",
    )
    bare_acuity = models.CharField(
        max_length=20,
        blank=True,
        default="",
        choices=choices.BARE_ACUITY,
        help_text="What a bare number means in an acuity box at this site. Empty: refuse bare numbers.",
    )
    digest_email = models.TextField(
        blank=True, help_text="Addresses, one a line, that get the morning digest."
    )
    digest_hour = models.PositiveSmallIntegerField(default=6, help_text="Local hour of the morning digest.")
    address = models.TextField(blank=True, help_text="Postal address, printed at the head of letters.")
    language = models.CharField(
        max_length=5,
        choices=choices.LANGUAGES,
        default="en",
        help_text="Language of messages and letters to people whose own language is not recorded.",
    )
    reminder_days = models.CharField(
        max_length=40,
        default="7 2",
        blank=True,
        help_text="Days before a visit on which a reminder goes out, such as 7 2. Empty: none.",
    )
    reminder_minimum_hours = models.PositiveSmallIntegerField(
        default=12, help_text="A reminder that would come later than so many hours before is not sent."
    )
    quiet_from_hour = models.PositiveSmallIntegerField(
        default=20, help_text="From this local hour nothing is sent to patients."
    )
    quiet_until_hour = models.PositiveSmallIntegerField(
        default=8, help_text="Until this local hour; the same hour twice means no quiet time."
    )
    country = models.CharField(
        max_length=6,
        blank=True,
        help_text="Whose public holidays close it: an ISO 3166 code such as EG or DE-BY. Empty: none.",
    )
    sessions_weeks_ahead = models.PositiveSmallIntegerField(
        default=12, help_text="Repeating sessions are opened for so many weeks ahead."
    )
    curve_minimum_at_risk = models.PositiveSmallIntegerField(
        default=5, help_text="A survival curve is not drawn where fewer eyes than this remain at risk."
    )

    expected_recurrence_percent = models.DecimalField(
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        help_text="Recurrence within six months that the clinic measures itself against, from its own past "
        "or a published series. Empty: no chart against it.",
    )
    sends_invitations = models.BooleanField(
        default=False,
        help_text="Whoever agreed to e-mail gets a calendar invitation when a visit is booked, moved "
        "or cancelled. Their answers come back by e-mail, and somebody must feed them in.",
    )
    calendar_initials = models.BooleanField(
        default=False,
        help_text="Calendars that others subscribe to show a person's initials, and nothing else of them.",
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(digest_hour__lte=23),
                name="site_digest_hour_of_day",
                violation_error_message="The hour of the morning digest is a whole hour from 0 to 23.",
            ),
            models.CheckConstraint(
                condition=Q(quiet_from_hour__lte=23, quiet_until_hour__lte=23),
                name="site_quiet_hours_of_day",
                violation_error_message="Quiet hours begin and end at a whole hour from 0 to 23.",
            ),
            models.CheckConstraint(
                condition=Q(horizon_days__lte=366),
                name="site_horizon_within_a_year",
                violation_error_message="Book at most 366 days ahead.",
            ),
            models.CheckConstraint(
                condition=Q(sessions_weeks_ahead__range=(1, 104)),
                name="site_sessions_1_to_104_weeks_ahead",
                violation_error_message="Sessions are opened for 1 to 104 weeks ahead.",
            ),
            models.CheckConstraint(
                condition=Q(expected_recurrence_percent=None)
                | Q(expected_recurrence_percent__gt=0, expected_recurrence_percent__lt=100),
                name="site_expected_recurrence_between_0_and_100",
                violation_error_message="The expected recurrence is a percentage above 0 and below 100; "
                "leave it empty for no chart against it.",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Staff(AbstractUser, Pseudonymous):
    """Somebody who signs in. The role says what they may do, the sites where."""

    role = models.CharField(max_length=20, choices=choices.ROLES, default="coordinator")
    sites = models.ManyToManyField(Site, related_name="staff", blank=True)

    class Meta:
        verbose_name = "member of staff"
        verbose_name_plural = "staff"

    def __str__(self) -> str:
        return self.get_full_name() or self.username


class Patient(Sourced, Pseudonymous):
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="patients")
    record_number = models.CharField(max_length=40)
    family_name = models.CharField(max_length=80, blank=True)
    given_name = models.CharField(max_length=80, blank=True)
    birth_date = models.DateField(null=True, blank=True)
    sex = models.CharField(max_length=10, choices=choices.SEXES, default="unknown")
    phone = models.CharField(max_length=60, blank=True)
    email = models.EmailField(blank=True)
    language = models.CharField(max_length=20, blank=True)
    postal_address = models.TextField(blank=True, help_text="As on an envelope, without the name.")
    time_zone = models.CharField(
        max_length=64, blank=True, help_text="Where this person lives, if not in the clinic's zone."
    )
    contact_note = models.TextField(
        blank=True, help_text="How to reach this person safely: whose phone it is, when to call."
    )
    died_on = models.DateField(
        null=True, blank=True, help_text="From the first report on nothing is sent and nothing can be booked."
    )
    death_source = models.CharField(max_length=200, blank=True, help_text="Who told, or which document.")
    death_reported_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    death_to_confirm = models.BooleanField(
        default=False, help_text="Waits for a second person; the eyes close once it is confirmed."
    )
    age_stated = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Age in years at the first operation, where no birth date is known."
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["site", "record_number"], name="patient_record_number_once_a_site"
            ),
            models.CheckConstraint(
                condition=Q(died_on__isnull=True)
                | Q(birth_date__isnull=True)
                | Q(died_on__gte=F("birth_date")),
                name="patient_dies_after_birth",
            ),
            models.CheckConstraint(
                condition=Q(death_to_confirm=False)
                | Q(died_on__isnull=False, death_reported_by__isnull=False),
                name="patient_death_to_confirm_says_who",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def name(self) -> str:
        """Family name, given name; the record number where no name is known."""
        parts = [part for part in (self.family_name, self.given_name) if part]
        return ", ".join(parts) or f"No. {self.record_number}"


class Eye(Pseudonymous):
    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="eyes")
    side = models.CharField(max_length=5, choices=choices.SIDES)
    axial_length_mm = models.DecimalField(max_digits=4, decimal_places=2, null=True, blank=True)
    staphyloma = models.CharField(max_length=10, choices=choices.YES_NO, default="unknown")
    only_eye = models.BooleanField(default=False, help_text="The fellow eye has no useful sight.")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["patient", "side"], name="eye_one_a_side"),
            models.CheckConstraint(condition=Q(side__in=["right", "left"]), name="eye_side_right_or_left"),
            models.CheckConstraint(
                condition=Q(axial_length_mm__isnull=True) | Q(axial_length_mm__range=(15, 40)),
                name="eye_axial_length_plausible",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.patient} {self.get_side_display()}"
