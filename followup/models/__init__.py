"""Tables and constraints."""

from followup.models.audits import LockedAudit
from followup.models.booking import Appointment, Session, Unavailable
from followup.models.calendars import SessionCalendar
from followup.models.contact import Consent, PrintedLetter
from followup.models.decisions import CallClaim, ContactAttempt, Decision, SymptomReport
from followup.models.imports import ColumnMap, ImportBatch, ImportRow
from followup.models.merges import KeptApart, Merge
from followup.models.operations import Fill, Operation, OperationProcedure
from followup.models.pathway import Course, Milestone, PathwayVersion
from followup.models.people import Eye, Patient, Site, Staff
from followup.models.pseudonyms import TypedSurgeon
from followup.models.record import CalendarAddress, Change, NightRun, OutboxMessage, PageRead
from followup.models.rota import Closure, PatternException, SessionPattern
from followup.models.visits import AcuityReading, Exam, ExamComplication, Visit

__all__ = [
    "AcuityReading",
    "Appointment",
    "CalendarAddress",
    "CallClaim",
    "Change",
    "Closure",
    "ColumnMap",
    "Consent",
    "ContactAttempt",
    "Course",
    "Decision",
    "Exam",
    "ExamComplication",
    "Eye",
    "Fill",
    "ImportBatch",
    "ImportRow",
    "KeptApart",
    "LockedAudit",
    "Merge",
    "Milestone",
    "NightRun",
    "Operation",
    "OperationProcedure",
    "OutboxMessage",
    "PageRead",
    "PathwayVersion",
    "Patient",
    "PatternException",
    "PrintedLetter",
    "Session",
    "SessionCalendar",
    "SessionPattern",
    "Site",
    "Staff",
    "SymptomReport",
    "TypedSurgeon",
    "Unavailable",
    "Visit",
]
