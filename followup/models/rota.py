"""The rota: sessions that repeat, the days on which one differs, and the days on which a site is shut."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from followup.models import choices
from followup.models.people import Site


class SessionPattern(models.Model):
    """The same clinic or theatre list every week, or every so many weeks, from which sessions are opened."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="session_patterns")
    kind = models.CharField(max_length=10, choices=choices.SESSION_KINDS)
    title = models.CharField(max_length=80)
    weekday = models.PositiveSmallIntegerField(choices=choices.WEEKDAYS)
    starts = models.TimeField()
    ends = models.TimeField()
    places = models.PositiveSmallIntegerField()
    urgent_places = models.PositiveSmallIntegerField(
        default=0, help_text="Places of these that are kept for urgent people until the day itself."
    )
    first_day = models.DateField(
        help_text="Weeks are counted from the first such weekday on or after this day."
    )
    last_day = models.DateField(null=True, blank=True)
    every_weeks = models.PositiveSmallIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["site", "kind", "title", "weekday", "starts", "first_day"], name="pattern_once"
            ),
            models.CheckConstraint(condition=Q(weekday__lte=6), name="pattern_weekday_monday_to_sunday"),
            models.CheckConstraint(condition=Q(ends__gt=F("starts")), name="pattern_ends_after_it_starts"),
            models.CheckConstraint(
                condition=Q(urgent_places__lte=F("places")), name="pattern_urgent_among_its_places"
            ),
            models.CheckConstraint(
                condition=Q(every_weeks__range=(1, 52)), name="pattern_every_1_to_52_weeks"
            ),
            models.CheckConstraint(
                condition=Q(last_day__isnull=True) | Q(last_day__gte=F("first_day")),
                name="pattern_last_day_not_before_first",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.title}, {self.get_weekday_display()}s {self.starts:%H:%M}"


class PatternException(models.Model):
    """One day of a pattern that is left out, or held otherwise: also on a holiday or in a closure."""

    pattern = models.ForeignKey(SessionPattern, on_delete=models.PROTECT, related_name="exceptions")
    day = models.DateField()
    left_out = models.BooleanField(default=True)
    starts = models.TimeField(null=True, blank=True, help_text="Empty: as in the pattern.")
    ends = models.TimeField(null=True, blank=True, help_text="Empty: as in the pattern.")
    places = models.PositiveSmallIntegerField(null=True, blank=True, help_text="Empty: as in the pattern.")
    reason = models.CharField(max_length=200)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["pattern", "day"], name="exception_once_a_pattern_day"),
            models.CheckConstraint(
                condition=Q(left_out=False) | Q(starts=None, ends=None, places=None),
                name="exception_left_out_or_changed",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.pattern}: {self.day} {'left out' if self.left_out else 'held otherwise'}"


class Closure(models.Model):
    """Days on which a site holds none of its repeating sessions."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="closures")
    first_day = models.DateField()
    last_day = models.DateField()
    reason = models.CharField(max_length=200)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(last_day__gte=F("first_day")), name="closure_last_day_not_before_first"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.first_day} to {self.last_day}: {self.reason}"
