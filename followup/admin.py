"""Django's administration: staff and sites are edited here; everything clinical is shown and never written.

Every write of a clinical fact goes through a service, which checks it, keeps its history and plans anew.
"""

from __future__ import annotations

from typing import Any

from django.contrib import admin
from django.contrib.auth.admin import UserAdmin
from django.db.models import Model
from django.http import HttpRequest

from followup import models


class KeptAdmin(admin.ModelAdmin):  # type: ignore[type-arg]  # the class takes no argument at run time
    """Rows that may be edited, but never deleted: others point at them."""

    def has_delete_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return False


class ShownAdmin(KeptAdmin):
    """Rows to look at."""

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return False


@admin.register(models.Site)
class SiteAdmin(KeptAdmin):
    list_display = ("name", "time_zone", "phone", "horizon_days")
    search_fields = ("name",)


@admin.register(models.Staff)
class StaffAdmin(UserAdmin):  # type: ignore[type-arg]  # the class takes no argument at run time
    """Somebody who left is marked inactive, since what they signed keeps their name."""

    list_display = ("username", "first_name", "last_name", "role", "is_active")
    list_filter = ("role", "is_active", "sites")
    filter_horizontal = ("sites", "groups", "user_permissions")
    fieldsets = (*(UserAdmin.fieldsets or ()), ("Clinic", {"fields": ("role", "sites")}))
    add_fieldsets = (*UserAdmin.add_fieldsets, ("Clinic", {"fields": ("role", "sites")}))

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


@admin.register(models.PathwayVersion)
class PathwayVersionAdmin(ShownAdmin):
    list_display = ("key", "version", "title", "active")
    list_filter = ("active",)


@admin.register(models.Patient)
class PatientAdmin(ShownAdmin):
    list_display = ("record_number", "family_name", "given_name", "birth_date", "site", "died_on")
    list_filter = ("site",)
    search_fields = ("record_number", "family_name", "given_name")


@admin.register(models.Eye)
class EyeAdmin(ShownAdmin):
    list_display = ("patient", "side", "axial_length_mm", "staphyloma", "only_eye")
    list_select_related = ("patient",)


@admin.register(models.Operation)
class OperationAdmin(ShownAdmin):
    list_display = ("eye", "date", "indication", "tamponade_in", "takes_out", "in_error")
    list_filter = ("in_error", "indication")
    list_select_related = ("eye__patient",)


@admin.register(models.Visit)
class VisitAdmin(ShownAdmin):
    list_display = ("patient", "day", "examiner", "in_error")
    list_filter = ("in_error",)
    list_select_related = ("patient", "examiner")


@admin.register(models.Session)
class SessionAdmin(ShownAdmin):
    list_display = ("title", "kind", "day", "starts", "ends", "places", "cancelled", "site")
    list_filter = ("site", "kind", "cancelled")


@admin.register(models.SessionPattern)
class SessionPatternAdmin(ShownAdmin):
    list_display = ("title", "kind", "weekday", "starts", "ends", "first_day", "last_day", "site")
    list_filter = ("site", "kind")


@admin.register(models.Closure)
class ClosureAdmin(ShownAdmin):
    list_display = ("first_day", "last_day", "reason", "site")
    list_filter = ("site",)


@admin.register(models.Appointment)
class AppointmentAdmin(ShownAdmin):
    list_display = ("patient", "day", "local_time", "lane", "state", "session")
    list_filter = ("state", "lane")
    list_select_related = ("patient", "session")


@admin.register(models.Decision)
class DecisionAdmin(ShownAdmin):
    list_display = ("eye", "kind", "signed_on", "signed_by", "undone_at")
    list_filter = ("kind",)
    list_select_related = ("eye__patient", "signed_by")


@admin.register(models.ContactAttempt)
class ContactAttemptAdmin(ShownAdmin):
    list_display = ("patient", "day", "channel", "result", "next_step_on", "made_by")
    list_select_related = ("patient", "made_by")


@admin.register(models.Change)
class ChangeAdmin(ShownAdmin):
    list_display = ("at", "by", "verb", "subject", "subject_id", "patient", "site")
    list_filter = ("verb", "site")
    list_select_related = ("by", "patient", "site")


@admin.register(models.PageRead)
class PageReadAdmin(ShownAdmin):
    """Who looked, and who was refused."""

    list_display = ("at", "by", "patient", "page", "refused")
    list_filter = ("refused",)
    list_select_related = ("by", "patient")


@admin.register(models.OutboxMessage)
class OutboxMessageAdmin(ShownAdmin):
    list_display = ("key", "kind", "state", "due_at", "sent_at", "attempts", "problem")
    list_filter = ("state", "kind", "site")


@admin.register(models.NightRun)
class NightRunAdmin(ShownAdmin):
    list_display = ("site", "job", "day", "started_at", "finished_at", "problem")
    list_filter = ("site", "job")
    list_select_related = ("site",)
