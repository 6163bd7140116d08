"""Who sees what, decided once: a member of staff sees the records of the sites where they work.

Every other query starts here. A single record is fetched by `*_for`, which raises the model's `DoesNotExist`
for a record of another site exactly as for one that does not exist. What a role may do is in domain/roles.
"""

from __future__ import annotations

import hashlib
from uuid import UUID

from django.db.models import QuerySet

from followup.models import (
    Appointment,
    CalendarAddress,
    Closure,
    Decision,
    Eye,
    ImportBatch,
    LockedAudit,
    Merge,
    Operation,
    Patient,
    PatternException,
    Session,
    SessionCalendar,
    SessionPattern,
    Site,
    Staff,
    SymptomReport,
    Unavailable,
    Visit,
)


def sites_of(staff: Staff) -> QuerySet[Site]:
    """The sites where this person works; none once they have left."""
    return Site.objects.filter(staff=staff) if staff.is_active else Site.objects.none()


def patients_of(staff: Staff) -> QuerySet[Patient]:
    return Patient.objects.filter(site__in=sites_of(staff)).select_related("site")


def eyes_of(staff: Staff) -> QuerySet[Eye]:
    return Eye.objects.filter(patient__site__in=sites_of(staff)).select_related("patient__site")


def operations_of(staff: Staff) -> QuerySet[Operation]:
    """Those entered in error too: they are shown struck out."""
    operations = Operation.objects.filter(eye__patient__site__in=sites_of(staff))
    return operations.select_related("eye__patient__site")


def visits_of(staff: Staff) -> QuerySet[Visit]:
    """Those entered in error too: they are shown struck out."""
    return Visit.objects.filter(patient__site__in=sites_of(staff)).select_related("patient__site")


def sessions_of(staff: Staff) -> QuerySet[Session]:
    return Session.objects.filter(site__in=sites_of(staff)).select_related("site")


def patterns_of(staff: Staff) -> QuerySet[SessionPattern]:
    return SessionPattern.objects.filter(site__in=sites_of(staff)).select_related("site")


def exceptions_of(staff: Staff) -> QuerySet[PatternException]:
    exceptions = PatternException.objects.filter(pattern__site__in=sites_of(staff))
    return exceptions.select_related("pattern__site")


def closures_of(staff: Staff) -> QuerySet[Closure]:
    return Closure.objects.filter(site__in=sites_of(staff)).select_related("site")


def unavailable_of(staff: Staff) -> QuerySet[Unavailable]:
    return Unavailable.objects.filter(patient__site__in=sites_of(staff)).select_related("patient__site")


def appointments_of(staff: Staff) -> QuerySet[Appointment]:
    """Whatever their state, the cancelled ones too."""
    appointments = Appointment.objects.filter(patient__site__in=sites_of(staff))
    return appointments.select_related("patient__site", "session", "eye")


def decisions_of(staff: Staff) -> QuerySet[Decision]:
    """Those undone too."""
    decisions = Decision.objects.filter(eye__patient__site__in=sites_of(staff))
    return decisions.select_related("eye__patient__site", "signed_by")


def reports_of(staff: Staff) -> QuerySet[SymptomReport]:
    """New symptoms that people told of, answered or not."""
    reports = SymptomReport.objects.filter(patient__site__in=sites_of(staff))
    return reports.select_related("patient__site", "recorded_by")


def colleagues_of(staff: Staff) -> QuerySet[Staff]:
    """Everybody who shares a site with this person, themselves among them."""
    return Staff.objects.filter(sites__in=sites_of(staff)).distinct()


def imports_of(staff: Staff) -> QuerySet[ImportBatch]:
    return ImportBatch.objects.filter(site__in=sites_of(staff)).select_related("site")


def calendar_addresses_of(staff: Staff) -> QuerySet[CalendarAddress]:
    return CalendarAddress.objects.filter(site__in=sites_of(staff)).select_related("site")


def session_calendars_of(staff: Staff) -> QuerySet[SessionCalendar]:
    calendars = SessionCalendar.objects.filter(site__in=sites_of(staff))
    return calendars.select_related("site", "read_by")


def site_for(staff: Staff, pk: int) -> Site:
    return sites_of(staff).get(pk=pk)


def patient_for(staff: Staff, pk: int) -> Patient:
    return patients_of(staff).get(pk=pk)


def eye_for(staff: Staff, pk: int) -> Eye:
    return eyes_of(staff).get(pk=pk)


def operation_for(staff: Staff, pk: int) -> Operation:
    return operations_of(staff).get(pk=pk)


def visit_for(staff: Staff, pk: int) -> Visit:
    return visits_of(staff).get(pk=pk)


def session_for(staff: Staff, pk: int) -> Session:
    return sessions_of(staff).get(pk=pk)


def pattern_for(staff: Staff, pk: int) -> SessionPattern:
    return patterns_of(staff).get(pk=pk)


def exception_for(staff: Staff, pk: int) -> PatternException:
    return exceptions_of(staff).get(pk=pk)


def closure_for(staff: Staff, pk: int) -> Closure:
    return closures_of(staff).get(pk=pk)


def unavailable_for(staff: Staff, pk: int) -> Unavailable:
    return unavailable_of(staff).get(pk=pk)


def appointment_for(staff: Staff, pk: int) -> Appointment:
    return appointments_of(staff).get(pk=pk)


def decision_for(staff: Staff, pk: int) -> Decision:
    return decisions_of(staff).get(pk=pk)


def report_for(staff: Staff, pk: int) -> SymptomReport:
    return reports_of(staff).get(pk=pk)


def colleague_for(staff: Staff, pk: int) -> Staff:
    return colleagues_of(staff).get(pk=pk)


def import_for(staff: Staff, pk: int) -> ImportBatch:
    return imports_of(staff).get(pk=pk)


def merge_for(staff: Staff, pk: int) -> Merge:
    merges = Merge.objects.filter(kept__site__in=sites_of(staff)).select_related("kept__site", "merged")
    return merges.get(pk=pk)


def locked_audits_of(staff: Staff) -> QuerySet[LockedAudit]:
    """Those of which this person may see every clinic that was counted."""
    hidden = Site.objects.exclude(pk__in=sites_of(staff))
    audits = LockedAudit.objects.filter(site__in=sites_of(staff)).exclude(other_sites__in=hidden)
    return audits.select_related("site", "locked_by", "withdrawn_by").order_by("-locked_at", "-id")


def audits_in_place_of(staff: Staff, audit: LockedAudit) -> QuerySet[LockedAudit]:
    """Those of its clinic, in use, that could take its place."""
    return locked_audits_of(staff).filter(site=audit.site_id, withdrawn_at=None).exclude(pk=audit.pk)


def locked_audit_for(staff: Staff, pk: int) -> LockedAudit:
    return locked_audits_of(staff).get(pk=pk)


def calendar_address_for(staff: Staff, pk: int) -> CalendarAddress:
    return calendar_addresses_of(staff).get(pk=pk)


def session_calendar_for(staff: Staff, pk: int) -> SessionCalendar:
    return session_calendars_of(staff).get(pk=pk)


def hash_of_token(token: str) -> str:
    """What is kept of a calendar address: its token has 256 random bits, so a plain SHA-256 is enough."""
    return hashlib.sha256(token.encode()).hexdigest()


def calendar_address_of_token(token: str) -> CalendarAddress:
    """The address that a secret token opens, whoever holds it; DoesNotExist once revoked."""
    open_addresses = CalendarAddress.objects.filter(revoked_at__isnull=True).select_related("site")
    return open_addresses.get(token_hash=hash_of_token(token))


def appointment_of_reminder(uid: UUID) -> Appointment | None:
    """The visit that a signed address in a reminder names: whoever holds the address may see its date."""
    return Appointment.objects.select_related("patient__site").filter(uid=uid).first()


def patient_of_stop_address(pk: int) -> Patient | None:
    """The person named by a signed address that stops messages; its page shows nothing but the clinic."""
    return Patient.objects.select_related("site").filter(pk=pk).first()
