"""The tables of a full export, in the order in which they would be taken in again.

What was marked as entered in error is in none of them. Of what the service did (appointments, attempts,
decisions) and of what follows by rule (fills, milestones) there are files to read, not to take in.
"""

from __future__ import annotations

from followup.domain.words import (
    AppointmentState,
    CancelledBy,
    Channel,
    Complication,
    ContactResult,
    Correction,
    DatePrecision,
    DecisionKind,
    Extent,
    Hole,
    Indication,
    Lane,
    Lens,
    Mark,
    NotAttending,
    OuterRetina,
    Procedure,
    Repeat,
    Retina,
    SessionKind,
    Sex,
    Side,
    Tamponade,
    TamponadeSeen,
    Term,
    YesNo,
)
from followup.queries.takeout.fields import Field, Kind, Table


def _coded(name: str, path: str, meaning: str, terms: type[Term], *, imported: bool = True) -> Field:
    return Field(name, path, meaning, Kind.CODE, terms, imported)


def _read_only(*fields: tuple[str, str, str, Kind]) -> tuple[Field, ...]:
    return tuple(Field(*field, imported=False) for field in fields)


def _number(path: str) -> Field:
    return Field("record_number", f"{path}record_number", "Record number at the clinic.", Kind.WHO)


def _side(path: str) -> Field:
    return _coded("side", f"{path}side", "Which eye.", Side)


PATIENTS = Table(
    "patients",
    "A row a person.",
    (
        _number(""),
        Field("family_name", "family_name", "Family name.", Kind.WHO),
        Field("given_name", "given_name", "Given name.", Kind.WHO),
        Field("birth_date", "birth_date", "Day of birth.", Kind.BORN),
        _coded("sex", "sex", "Sex.", Sex),
        Field("age", "age_stated", "Age at the first operation, where no birth date is known.", Kind.NUMBER),
        Field("phone", "phone", "Telephone.", Kind.WHO),
        Field("email", "email", "E-mail address.", Kind.WHO),
        Field("language", "language", "Language of letters and messages.", Kind.WHO),
        Field("postal_address", "postal_address", "Postal address.", Kind.WHO),
        Field("time_zone", "time_zone", "Where the person lives, if not in the clinic's zone.", Kind.WHO),
        Field("contact_note", "contact_note", "How to reach this person safely.", Kind.FREE),
        *_read_only(
            ("died_on", "died_on", "Day of death, as first reported.", Kind.DAY),
            ("death_source", "death_source", "Who told of it.", Kind.FREE),
        ),
    ),
    person="pk",
    is_imported=True,
)
EYES = Table(
    "eyes",
    "A row an eye.",
    (
        _number("patient__"),
        _side(""),
        Field("axial_length_mm", "axial_length_mm", "Axial length, mm.", Kind.NUMBER),
        _coded("staphyloma", "staphyloma", "Posterior staphyloma.", YesNo),
        Field("only_eye", "only_eye", "The fellow eye has no useful sight.", Kind.YES_NO),
    ),
    person="patient_id",
    eye="pseudonym",
    is_imported=True,
)
OPERATIONS = Table(
    "operations",
    "A row an operation.",
    (
        _number("eye__patient__"),
        _side("eye__"),
        Field("operation_date", "date", "Day of the operation.", Kind.DAY),
        _coded("date_precision", "date_precision", "How well that day is known.", DatePrecision),
        Field("surgeon_name", "surgeon_id+surgeon_name", "Who operated.", Kind.STAFF),
        _coded("indication", "indication", "Why it was done.", Indication),
        Field("procedures", "pk", "What was done.", Kind.CODES, Procedure),
        _coded("repeat", "repeat", "First or repeat operation.", Repeat),
        _coded("extent", "extent", "Extent of the detachment.", Extent),
        _coded("tamponade_in", "tamponade_in", "What was left in the eye.", Tamponade),
        Field("tamponade_percent", "tamponade_percent", "Concentration of the gas, per cent.", Kind.NUMBER),
        Field("takes_out", "takes_out", "The tamponade that was in was taken out.", Kind.YES_NO),
        _coded("attached_at_end", "attached_at_end", "Retina attached at the end of surgery.", YesNo),
        Field("restarts", "restarts", "Follow-up starts again here; empty: by rule.", Kind.YES_NO),
        Field("operation_note", "note", "Note on the operation.", Kind.FREE),
    ),
    person="eye__patient_id",
    eye="eye__pseudonym",
    is_imported=True,
)
VISITS = Table(
    "visits",
    "A row a visit of a person.",
    (
        _number("patient__"),
        Field("visit_date", "day", "Day of the visit.", Kind.DAY),
        Field("visit_note", "note", "Note on the visit.", Kind.FREE),
        *_read_only(("examiner", "examiner_id", "Who examined.", Kind.STAFF)),
    ),
    person="patient_id",
    is_imported=True,
)
EXAMS = Table(
    "exams",
    "A row an eye at a visit.",
    (
        _number("visit__patient__"),
        _side("eye__"),
        Field("visit_date", "visit__day", "Day of the visit.", Kind.DAY),
        Field(
            "pressure", "pressure_mmhg+pressure_text", "Pressure, mmHg, or a word such as soft.", Kind.TEXT
        ),
        _coded("retina", "retina", "Attached or detached.", Retina),
        _coded("hole", "hole", "Macular hole.", Hole),
        _coded("outer_retina", "outer_retina", "Outer retina on OCT.", OuterRetina),
        _coded("lens", "lens", "Lens.", Lens),
        _coded("tamponade_seen", "tamponade_seen", "What is seen in the eye.", TamponadeSeen),
        Field("fill_percent", "fill_percent", "How full of tamponade, per cent.", Kind.NUMBER),
        Field("complications", "pk", "Complications.", Kind.CODES, Complication),
        Field("exam_note", "note", "Note on the exam of this eye.", Kind.FREE),
    ),
    person="visit__patient_id",
    eye="eye__pseudonym",
    is_imported=True,
)
ACUITY = Table(
    "acuity",
    "A row a reading of acuity.",
    (
        _number("exam__visit__patient__"),
        _side("exam__eye__"),
        Field("visit_date", "exam__visit__day", "Day of the visit.", Kind.DAY),
        Field("acuity", "as_written", "As it was written.", Kind.TEXT),
        Field(
            "reading",
            "correction+notation+approximate",
            "Correction, notation, and whether approximate.",
            Kind.TEXT,
        ),
        _coded("correction", "correction", "With which correction.", Correction, imported=False),
        *_read_only(
            ("notation", "notation", "How it is written.", Kind.TEXT),
            ("logmar", "logmar", "logMAR; empty below the chart.", Kind.NUMBER),
            ("category", "category", "Below the chart: the category.", Kind.TEXT),
            ("approximate", "approximate", "The number is approximate.", Kind.YES_NO),
        ),
    ),
    person="exam__visit__patient_id",
    eye="exam__eye__pseudonym",
    is_imported=True,
)
FILLS = Table(
    "fills",
    "A row a stay of a tamponade in an eye. Follows from operations and exams.",
    (
        _number("eye__patient__"),
        _side("eye__"),
        _coded("tamponade", "tamponade", "What stayed.", Tamponade, imported=False),
        *_read_only(
            ("placed_on", "placed_on", "Put in on.", Kind.DAY),
            ("first_placed_on", "first_placed_on", "First put in, before any exchange.", Kind.DAY),
            ("ended_on", "ended_on", "Taken out, or seen to be gone, on.", Kind.DAY),
        ),
    ),
    person="eye__patient_id",
    eye="eye__pseudonym",
)
MILESTONES = Table(
    "milestones",
    "A row a planned review or removal. Follows from the pathway and the facts.",
    (
        _number("course__eye__patient__"),
        _side("course__eye__"),
        *_read_only(
            ("pathway", "course__pathway__key", "Key of the pathway.", Kind.TEXT),
            ("pathway_version", "course__pathway__version", "Its version.", Kind.NUMBER),
            ("anchor", "course__anchor", "Day that it counts from.", Kind.DAY),
            ("superseded_on", "course__superseded_on", "A later course took its place on.", Kind.DAY),
            ("milestone", "key", "Key of the milestone.", Kind.TEXT),
        ),
        _coded("lane", "lane", "Review or removal.", Lane, imported=False),
        *_read_only(
            ("opens", "opens", "First day of its window.", Kind.DAY),
            ("target", "target", "The day aimed at.", Kind.DAY),
            ("closes", "closes", "Last day of its window.", Kind.DAY),
            ("met_on", "met_on", "Met on.", Kind.DAY),
        ),
        _coded("mark", "mark", "What became of it.", Mark, imported=False),
    ),
    person="course__eye__patient_id",
    eye="course__eye__pseudonym",
)
APPOINTMENTS = Table(
    "appointments",
    "A row a booked place, whatever became of it.",
    (
        _number("patient__"),
        _coded("session_kind", "session__kind", "Clinic or theatre.", SessionKind, imported=False),
        _coded("lane", "lane", "For a review or a removal.", Lane, imported=False),
        _coded("side", "eye__side", "The eye to be operated on; empty for a review.", Side, imported=False),
        *_read_only(
            ("day", "day", "Day of the place.", Kind.DAY),
            ("time", "local_time", "Its time at the clinic.", Kind.TIME),
            ("uid", "uid", "Its mark, as in calendars.", Kind.WHO),
            ("minutes", "minutes", "How long it takes.", Kind.NUMBER),
            ("original_due", "original_due", "Target of what was first booked for.", Kind.DAY),
            ("booked_late", "booked_late", "Booked after the window had closed.", Kind.YES_NO),
        ),
        _coded("state", "state", "What became of it.", AppointmentState, imported=False),
        _coded("cancelled_by", "cancelled_by", "Who cancelled it.", CancelledBy, imported=False),
        *_read_only(("reason", "reason", "Why nobody came, or why it was cancelled.", Kind.FREE)),
    ),
    person="patient_id",
)
ATTEMPTS = Table(
    "contact_attempts",
    "A row a call, message or letter.",
    (
        _number("patient__"),
        *_read_only(("day", "day", "Day of the attempt.", Kind.DAY)),
        _coded("channel", "channel", "By which way.", Channel, imported=False),
        *_read_only(("number_used", "number_used", "The number or address used.", Kind.WHO)),
        _coded("result", "result", "What came of it.", ContactResult, imported=False),
        _coded("reason", "reason", "Why somebody did not come.", NotAttending, imported=False),
        *_read_only(
            ("next_step_on", "next_step_on", "Day agreed or set for the next step.", Kind.DAY),
            ("is_warning", "is_warning", "A letter of warning.", Kind.YES_NO),
            ("made_by", "made_by_id", "By whom; empty: the night's work.", Kind.STAFF),
            ("note", "note", "Note.", Kind.FREE),
        ),
    ),
    person="patient_id",
)
DECISIONS = Table(
    "decisions",
    "A row a signed decision.",
    (
        _number("eye__patient__"),
        _side("eye__"),
        _coded("decision", "kind", "What was decided.", DecisionKind, imported=False),
        *_read_only(
            ("signed_on", "signed_on", "Day on which it took effect.", Kind.DAY),
            ("signed_by", "signed_by_id", "Who signed.", Kind.STAFF),
            ("review_on", "review_on", "Kept until, or to be seen on.", Kind.DAY),
            ("accepted_on", "accepted_on", "A transfer: accepted on.", Kind.DAY),
            ("undone", "undone_at", "It was undone later.", Kind.YES_NO),
            ("to_whom", "to_whom", "A transfer: to whom.", Kind.FREE),
            ("reason", "reason", "Why.", Kind.FREE),
        ),
    ),
    person="eye__patient_id",
    eye="eye__pseudonym",
)
REPORTS = Table(
    "symptom_reports",
    "A row a report of new symptoms.",
    (
        _number("patient__"),
        *_read_only(
            ("day", "day", "Day of the report.", Kind.DAY),
            ("answered_on", "answered_on", "Answered by a clinician on.", Kind.DAY),
            ("answered_by", "answered_by_id", "By whom.", Kind.STAFF),
            ("note", "note", "What was reported.", Kind.FREE),
            ("answer", "answer", "What was answered.", Kind.FREE),
        ),
    ),
    person="patient_id",
)
CONSENTS = Table(
    "consents",
    "A row an agreement to be written to.",
    (
        _number("patient__"),
        _coded("channel", "channel", "By which way.", Channel, imported=False),
        *_read_only(
            ("given_on", "given_on", "Given on.", Kind.DAY),
            ("withdrawn_on", "withdrawn_on", "Withdrawn on.", Kind.DAY),
        ),
    ),
    person="patient_id",
)

TABLES: tuple[Table, ...] = (
    PATIENTS,
    EYES,
    OPERATIONS,
    VISITS,
    EXAMS,
    ACUITY,
    FILLS,
    MILESTONES,
    APPOINTMENTS,
    ATTEMPTS,
    DECISIONS,
    REPORTS,
    CONSENTS,
)
