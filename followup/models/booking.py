"""Sessions with places, and appointments in them."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import F, Q

from followup.models import choices
from followup.models.people import Eye, Patient, Site
from followup.models.rota import SessionPattern


class Session(models.Model):
    """A clinic or a theatre list: some hours at a site with a number of places."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="sessions")
    kind = models.CharField(max_length=10, choices=choices.SESSION_KINDS)
    title = models.CharField(max_length=80)
    day = models.DateField(db_index=True)
    starts = models.TimeField()
    ends = models.TimeField()
    places = models.PositiveSmallIntegerField()
    urgent_places = models.PositiveSmallIntegerField(
        default=0, help_text="Places of these that are kept for urgent people until the day itself."
    )
    cancelled = models.BooleanField(default=False)
    pattern = models.ForeignKey(
        SessionPattern, null=True, blank=True, on_delete=models.PROTECT, related_name="sessions"
    )
    pattern_day = models.DateField(
        null=True, blank=True, help_text="Which day of the pattern it was opened for."
    )
    withdrawn = models.BooleanField(
        default=False, help_text="Cancelled by the rota alone: it opens again if the rota says so."
    )
    source_uid = models.CharField(
        max_length=255,
        null=True,
        blank=True,
        help_text="UID in the calendar it was read from; none otherwise.",
    )
    source_recurrence = models.CharField(
        max_length=20, blank=True, help_text="Which repetition of that entry: its first start, in UTC."
    )
    source_calendar = models.CharField(
        max_length=80, blank=True, help_text="The calendar's name at the site."
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["site", "source_uid", "source_recurrence"], name="session_once_a_calendar_entry"
            ),
            models.CheckConstraint(condition=Q(ends__gt=F("starts")), name="session_ends_after_it_starts"),
            models.UniqueConstraint(
                fields=["site", "kind", "title", "day", "starts"], name="session_once_a_time"
            ),
            models.UniqueConstraint(fields=["pattern", "pattern_day"], name="session_once_a_pattern_day"),
            models.CheckConstraint(
                condition=Q(urgent_places__lte=F("places")), name="session_urgent_among_its_places"
            ),
            models.CheckConstraint(
                condition=Q(withdrawn=False) | Q(cancelled=True), name="session_withdrawn_is_cancelled"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.title}, {self.day} {self.starts:%H:%M}"


class Appointment(models.Model):
    """A booked place. It serves the person: every review milestone of either eye whose period holds its day.

    In a theatre list it serves the removal of one eye's tamponade, or another operation on it.
    """

    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="appointments")
    session = models.ForeignKey(Session, on_delete=models.PROTECT, related_name="appointments")
    eye = models.ForeignKey(
        Eye,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="appointments",
        help_text="The eye to be operated on; empty for a review, which sees the person.",
    )
    lane = models.CharField(max_length=10, choices=choices.LANES)
    day = models.DateField(db_index=True)
    local_time = models.TimeField()
    starts_at = models.DateTimeField(help_text="The instant, from day and local time in the site's zone.")
    minutes = models.PositiveSmallIntegerField(default=20)
    state = models.CharField(max_length=12, choices=choices.APPOINTMENT_STATES, default="booked")
    cancelled_by = models.CharField(max_length=10, choices=choices.CANCELLED_BY, blank=True)
    reason = models.CharField(max_length=200, blank=True)
    original_due = models.DateField(
        null=True, blank=True, help_text="Target of the milestone first booked for."
    )
    booked_late = models.BooleanField(default=False)
    urgent = models.BooleanField(default=False, help_text="May take a place that is kept for urgent people.")
    note = models.CharField(max_length=200, blank=True)
    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    sequence = models.PositiveIntegerField(default=0)
    changed_at = models.DateTimeField()
    invited_sequence = models.PositiveIntegerField(
        null=True, blank=True, help_text="Sequence number of the last invitation that went out."
    )
    reply = models.CharField(max_length=10, choices=choices.REPLIES, blank=True)
    replied_at = models.DateTimeField(null=True, blank=True, help_text="When the reply was written.")
    reply_sequence = models.PositiveIntegerField(
        null=True, blank=True, help_text="Sequence number that was answered; the reply stands for no other."
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~Q(lane="removal") | Q(eye__isnull=False), name="appointment_removal_names_the_eye"
            ),
            models.CheckConstraint(
                condition=~Q(state="cancelled") | ~Q(cancelled_by=""), name="appointment_cancel_says_by_whom"
            ),
            models.UniqueConstraint(
                fields=["patient", "session"],
                condition=~Q(state="cancelled"),
                name="appointment_one_place_a_person_a_session",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.patient}, {self.day} {self.local_time:%H:%M}"

    @property
    def answer(self) -> str:
        """What the person answered to the place as it stands, in words; empty where nothing."""
        return self.get_reply_display() if self.reply_sequence == self.sequence else ""

    @property
    def why(self) -> str:
        """Why nobody came, in words, or why it was cancelled, as written."""
        return dict(choices.REASONS_NOT_ATTENDING).get(self.reason, self.reason)


class Unavailable(models.Model):
    """Days on which somebody said that they cannot come."""

    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="unavailable")
    first_day = models.DateField()
    last_day = models.DateField()
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(last_day__gte=F("first_day")), name="unavailable_last_day_not_before_first"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.patient}: {self.first_day} to {self.last_day}"
