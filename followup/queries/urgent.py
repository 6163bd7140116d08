"""What goes before every list: new symptoms, and deaths that wait for a second person."""

from __future__ import annotations

from followup.models import Patient, Site, SymptomReport


def open_reports(site: Site) -> tuple[SymptomReport, ...]:
    """Reports of new symptoms that nobody has answered, the oldest first, with the person at hand."""
    reports = SymptomReport.objects.filter(patient__site=site, answered_at=None)
    return tuple(reports.select_related("patient", "recorded_by").order_by("reported_at", "id"))


def reports_of(patient: Patient) -> tuple[SymptomReport, ...]:
    """Every report of this person, the last first."""
    reports = SymptomReport.objects.filter(patient=patient).select_related("recorded_by", "answered_by")
    return tuple(reports.order_by("-reported_at", "-id"))


def deaths_to_confirm(site: Site) -> tuple[Patient, ...]:
    waiting = Patient.objects.filter(site=site, death_to_confirm=True).select_related("death_reported_by")
    return tuple(waiting.order_by("died_on", "id"))
