"""Rows for tests: plain functions, keywords, dull defaults. A test names only what it is about.

They write rows as they are given and plan nothing: a test about windows goes through the services, or calls
`services.pathway.replan_eye` itself.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from followup.domain.dates.zones import localise
from followup.models import (
    AcuityReading,
    Appointment,
    CalendarAddress,
    Closure,
    Consent,
    ContactAttempt,
    Course,
    Decision,
    Exam,
    ExamComplication,
    Eye,
    Milestone,
    NightRun,
    Operation,
    OperationProcedure,
    OutboxMessage,
    PathwayVersion,
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

TODAY = date(2026, 3, 2)
"""A Monday, in winter time nearly everywhere."""
NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)

_numbers = itertools.count(1)


def days(count: int) -> date:
    """The day so many days after TODAY; negative before it."""
    return TODAY + timedelta(days=count)


TWO_MONTHS_AGO = days(-60)
LAST_MONTH = days(-30)
YESTERDAY = days(-1)
NEXT_WEEK = days(7)


def make_site(**fields: Any) -> Site:
    return Site.objects.create(**{"name": f"Clinic {next(_numbers)}", "bare_acuity": "decimal"} | fields)


def make_staff(
    *, role: str = "coordinator", site: Site | None = None, sites: Iterable[Site] = (), **fields: Any
) -> Staff:
    """Somebody who signs in; without a password unless one is given, since hashing is slow on purpose."""
    username = fields.pop("username", f"{role}{next(_numbers)}")
    staff = Staff.objects.create_user(username, role=role, **fields)
    staff.sites.set([*sites, site] if site else [*sites])
    return staff


def make_patient(*, site: Site | None = None, **fields: Any) -> Patient:
    number = next(_numbers)
    dull = {"record_number": f"R{number:05}", "family_name": f"Family{number}", "given_name": "Given"}
    return Patient.objects.create(site=site or make_site(), **dull | fields)


def make_eye(
    *, patient: Patient | None = None, site: Site | None = None, side: str = "right", **fields: Any
) -> Eye:
    return Eye.objects.create(patient=patient or make_patient(site=site), side=side, **fields)


def make_operation(
    *,
    eye: Eye | None = None,
    site: Site | None = None,
    date: date = TWO_MONTHS_AGO,
    procedures: Iterable[str] = ("vitrectomy",),
    **fields: Any,
) -> Operation:
    dull = {"indication": "rrd", "tamponade_in": "sf6", "attached_at_end": "yes"}
    operation = Operation.objects.create(eye=eye or make_eye(site=site), date=date, **dull | fields)
    OperationProcedure.objects.bulk_create(
        OperationProcedure(operation=operation, procedure=procedure) for procedure in procedures
    )
    return operation


def make_oil_operation(**fields: Any) -> Operation:
    """An operation that leaves silicone oil in the eye."""
    return make_operation(
        **{"tamponade_in": "oil_1000", "procedures": ("vitrectomy", "oil_insertion")} | fields
    )


def make_session(*, site: Site | None = None, day: date = NEXT_WEEK, **fields: Any) -> Session:
    number = next(_numbers)
    dull = {"kind": "clinic", "title": f"List {number}", "starts": time(9), "ends": time(12), "places": 6}
    return Session.objects.create(site=site or make_site(), day=day, **dull | fields)


def make_pattern(*, site: Site | None = None, **fields: Any) -> SessionPattern:
    """A clinic every Monday."""
    dull = {
        "kind": "clinic",
        "title": f"Weekly {next(_numbers)}",
        "weekday": 0,
        "starts": time(9),
        "ends": time(12),
        "places": 6,
        "first_day": TODAY,
    }
    return SessionPattern.objects.create(site=site or make_site(), **dull | fields)


def make_exception(
    *, pattern: SessionPattern | None = None, day: date = NEXT_WEEK, **fields: Any
) -> PatternException:
    """Left out, unless said otherwise."""
    pattern = pattern or make_pattern()
    return PatternException.objects.create(pattern=pattern, day=day, **{"reason": "Congress"} | fields)


def make_closure(*, site: Site | None = None, first_day: date = NEXT_WEEK, **fields: Any) -> Closure:
    dull = {"last_day": first_day, "reason": "Building work"}
    return Closure.objects.create(site=site or make_site(), first_day=first_day, **dull | fields)


def make_unavailable(
    *, patient: Patient | None = None, first_day: date = NEXT_WEEK, **fields: Any
) -> Unavailable:
    patient = patient or make_patient()
    return Unavailable.objects.create(
        patient=patient, first_day=first_day, **{"last_day": first_day} | fields
    )


def make_appointment(
    *,
    patient: Patient | None = None,
    session: Session | None = None,
    eye: Eye | None = None,
    site: Site | None = None,
    day: date = NEXT_WEEK,
    **fields: Any,
) -> Appointment:
    """A place in a clinic; in a theatre list, for the removal of the eye's tamponade."""
    patient = patient or (eye.patient if eye else make_patient(site=site))
    session = session or make_session(site=patient.site, day=day)
    in_theatre = session.kind == "theatre"
    eye = eye or (make_eye(patient=patient) if in_theatre else None)
    local_time = fields.pop("local_time", session.starts)
    dull = {
        "lane": "removal" if in_theatre else "review",
        "starts_at": localise(session.day, local_time, session.site.time_zone),
        "changed_at": NOW,
    }
    return Appointment.objects.create(
        patient=patient, session=session, eye=eye, day=session.day, local_time=local_time, **dull | fields
    )


def make_visit(*, patient: Patient | None = None, day: date = LAST_MONTH, **fields: Any) -> Visit:
    return Visit.objects.create(patient=patient or make_patient(), day=day, **fields)


def make_exam(
    *,
    eye: Eye | None = None,
    visit: Visit | None = None,
    day: date = LAST_MONTH,
    complications: Iterable[str] = (),
    **fields: Any,
) -> Exam:
    """Findings of one eye; the visit of that person on that day is made where there is none."""
    eye = eye or make_eye()
    visit = visit or Visit.objects.filter(patient=eye.patient, day=day, in_error=False).first()
    visit = visit or make_visit(patient=eye.patient, day=day)
    exam = Exam.objects.create(visit=visit, eye=eye, **{"retina": "attached"} | fields)
    ExamComplication.objects.bulk_create(
        ExamComplication(exam=exam, complication=complication) for complication in complications
    )
    return exam


def make_acuity(*, exam: Exam | None = None, **fields: Any) -> AcuityReading:
    """One reading, 6/12 best corrected; a category is given with `logmar=None`."""
    dull = {
        "as_written": "6/12",
        "notation": "snellen_metre",
        "correction": "best",
        "logmar": Decimal("0.3010"),
    }
    return AcuityReading.objects.create(exam=exam or make_exam(), **dull | fields)


def make_decision(*, eye: Eye | None = None, signed_by: Staff | None = None, **fields: Any) -> Decision:
    eye = eye or make_eye()
    signed_by = signed_by or make_staff(role="surgeon", site=eye.patient.site)
    dull = {
        "kind": "discharge",
        "signed_on": days(-1),
        "recorded_at": NOW - timedelta(days=1),
        "reason": "Stable",
    }
    return Decision.objects.create(eye=eye, signed_by=signed_by, **dull | fields)


def make_attempt(
    *, patient: Patient | None = None, made_by: Staff | None = None, day: date = YESTERDAY, **fields: Any
) -> ContactAttempt:
    patient = patient or make_patient()
    made_by = made_by or make_staff(site=patient.site)
    made_at = datetime.combine(day, time(10), tzinfo=UTC)
    dull = {"channel": "phone", "result": "no_answer", "made_at": made_at}
    return ContactAttempt.objects.create(patient=patient, made_by=made_by, day=day, **dull | fields)


def make_report(
    *, patient: Patient | None = None, recorded_by: Staff | None = None, day: date = TODAY, **fields: Any
) -> SymptomReport:
    """New symptoms that nobody has answered yet."""
    patient = patient or make_patient()
    recorded_by = recorded_by or make_staff(site=patient.site)
    dull = {"reported_at": NOW, "note": "A curtain since this morning"}
    return SymptomReport.objects.create(patient=patient, recorded_by=recorded_by, day=day, **dull | fields)


def make_consent(*, patient: Patient | None = None, given_by: Staff | None = None, **fields: Any) -> Consent:
    """In force since long ago, for e-mail unless another channel is named."""
    patient = patient or make_patient()
    given_by = given_by or make_staff(site=patient.site)
    dull = {"channel": "email", "given_on": days(-90)}
    return Consent.objects.create(patient=patient, given_by=given_by, **dull | fields)


def make_pathway(*, key: str = "", **fields: Any) -> PathwayVersion:
    dull = {"version": 1, "title": "Standard reviews", "text": "", "active": True}
    return PathwayVersion.objects.create(key=key or f"pathway-{next(_numbers)}", **dull | fields)


def make_course(
    *, operation: Operation | None = None, pathway: PathwayVersion | None = None, **fields: Any
) -> Course:
    operation = operation or make_operation()
    dull = {"anchor": operation.date, "eye": operation.eye}
    return Course.objects.create(operation=operation, pathway=pathway or make_pathway(), **dull | fields)


def make_milestone(*, course: Course | None = None, target: date = NEXT_WEEK, **fields: Any) -> Milestone:
    """One planned review with a fortnight around its target."""
    dull = {
        "key": f"m{next(_numbers)}",
        "title": "Review",
        "lane": "review",
        "opens": target - timedelta(days=7),
        "closes": target + timedelta(days=7),
    }
    return Milestone.objects.create(course=course or make_course(), target=target, **dull | fields)


def make_message(*, site: Site | None = None, **fields: Any) -> OutboxMessage:
    dull = {
        "key": f"message-{next(_numbers)}",
        "kind": "digest",
        "to": "list@clinic.example",
        "subject": "The day's list",
        "body": "Nothing to do.",
        "due_at": NOW,
    }
    return OutboxMessage.objects.create(site=site or make_site(), **dull | fields)


def make_night_run(*, site: Site | None = None, **fields: Any) -> NightRun:
    dull = {"job": "digest", "day": TODAY, "started_at": NOW, "lease_until": NOW + timedelta(minutes=30)}
    return NightRun.objects.create(site=site or make_site(), **dull | fields)


def make_session_calendar(*, site: Site | None = None, **fields: Any) -> SessionCalendar:
    """An empty calendar of clinics, read and not yet written."""
    site = site or make_site()
    dull = {
        "name": f"Calendar {next(_numbers)}",
        "usual_kind": "clinic",
        "usual_places": 10,
        "file_name": "clinics.ics",
        "content": b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nEND:VCALENDAR\r\n",
        "read_at": NOW,
        "read_by": make_staff(site=site),
    }
    return SessionCalendar.objects.create(site=site, **dull | fields)


def make_calendar_address(
    *, site: Site | None = None, made_by: Staff | None = None, **fields: Any
) -> CalendarAddress:
    site = site or make_site()
    dull = {"label": "Wall screen", "token_hash": f"{next(_numbers):064}", "made_at": NOW}
    return CalendarAddress.objects.create(
        site=site, made_by=made_by or make_staff(role="administrator", site=site), **dull | fields
    )
