"""One eye's page: what is next, its courses, what happened to it, and what was found at each visit."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from followup.domain.fills import Fill as FillFact
from followup.domain.pathway.milestones import Course as CourseFact
from followup.domain.pathway.milestones import Milestone as MilestoneFact
from followup.domain.words import Correction, Lane, Mark, Tamponade
from followup.models import AcuityReading, Course, Decision, Exam, Eye, Fill, Milestone, Operation
from followup.queries.cautions import Caution, cautions_for, urgent_symptoms
from followup.queries.recall import surgeon_name
from followup.queries.standing import EyeStandingRow, fill_fact, milestone_fact, site_standings


@dataclass(frozen=True, slots=True)
class MilestoneRow:
    milestone: MilestoneFact
    state: str
    """What became of it, in words: met, late, missed, due, superseded."""
    is_pressing: bool = False


@dataclass(frozen=True, slots=True)
class CourseRow:
    course: Course
    milestones: tuple[MilestoneRow, ...]


@dataclass(frozen=True, slots=True)
class AcuityRow:
    as_written: str
    correction: str
    meaning: str
    """logMAR to two places, or the category below the chart."""


@dataclass(frozen=True, slots=True)
class ExamRow:
    exam: Exam
    day: date
    acuities: tuple[AcuityRow, ...]
    complications: tuple[str, ...]
    pressure: str


@dataclass(frozen=True, slots=True)
class OperationRow:
    operation: Operation
    procedures: tuple[str, ...]
    surgeon: str
    tamponade: str


@dataclass(frozen=True, slots=True)
class EyePage:
    """All that the page of one eye shows, plain and in order."""

    eye: Eye
    row: EyeStandingRow | None
    """None for an eye that was never operated on."""
    cautions: tuple[Caution, ...]
    courses: tuple[CourseRow, ...]
    operations: tuple[OperationRow, ...]
    exams: tuple[ExamRow, ...]
    decisions: tuple[Decision, ...]
    fills: tuple[FillFact, ...]


def eye_page(eye: Eye, day: date) -> EyePage:
    """The page of this eye on `day`. Needs the patient and site at hand."""
    site = eye.patient.site
    row = next(iter(site_standings(site=site, day=day, eye_ids=[eye.pk])), None)
    fills = tuple(fill_fact(row) for row in Fill.objects.filter(eye=eye).order_by("placed_on", "id"))
    return EyePage(
        eye=eye,
        row=row,
        cautions=(*cautions_now(row, day), urgent_symptoms(site)),
        courses=_courses(eye, row, day),
        operations=_operations(eye),
        exams=exam_rows(eye),
        decisions=_decisions(eye),
        fills=fills,
    )


def cautions_now(row: EyeStandingRow | None, day: date) -> list[Caution]:
    """Cautions of what is in the eye; none for an eye without an operation, or once the person died."""
    if row is None or row.eye.patient.died_on is not None:
        return []
    removals = [lane.next_step for lane in row.standing.lanes if lane.lane is Lane.REMOVAL]
    plan = " ".join(removals) or "none on record."
    return cautions_for(fill=row.state.fill, day=day, removal_plan=plan)


def milestone_row(milestone: MilestoneFact, day: date) -> MilestoneRow:
    """What became of a milestone by `day`, in words."""
    met = f"{milestone.met_on:%-d %b %Y}" if milestone.met_on else ""
    said = {
        Mark.MET: f"Met on {met}",
        Mark.MET_LATE: f"Met late, on {met}",
        Mark.SIGNED: f"Met by the visit of {met}, as a clinician signed",
        Mark.SUPERSEDED: "Superseded",
    }
    if milestone.mark in said:
        return MilestoneRow(milestone, said[milestone.mark])
    if milestone.is_missed(day):
        return MilestoneRow(milestone, "Missed", True)
    if milestone.closes < day:
        return MilestoneRow(milestone, f"Overdue {days_in_words((day - milestone.closes).days)}", True)
    if milestone.opens <= day:
        return MilestoneRow(milestone, f"Due now, {days_in_words((milestone.closes - day).days)} left", True)
    return MilestoneRow(milestone, f"Opens in {days_in_words((milestone.opens - day).days)}")


def days_in_words(number: int) -> str:
    return f"{number} day" if number == 1 else f"{number} days"


def _courses(eye: Eye, row: EyeStandingRow | None, day: date) -> tuple[CourseRow, ...]:
    courses = Course.objects.filter(eye=eye).select_related("pathway", "operation").order_by("-anchor", "-id")
    stored: dict[int, list[MilestoneFact]] = {}
    for milestone in Milestone.objects.filter(course__eye=eye).order_by("opens", "id"):
        stored.setdefault(milestone.course_id, []).append(milestone_fact(milestone))
    current = row.state.course if row else None
    return tuple(
        CourseRow(course, tuple(milestone_row(m, day) for m in _planned(course, current, stored, day)))
        for course in courses
    )


def _planned(
    course: Course, current: CourseFact | None, stored: dict[int, list[MilestoneFact]], day: date
) -> Iterable[MilestoneFact]:
    """The stored milestones; of the current course also the endless ones that the day has reached."""
    if course.superseded_on is None and current is not None:
        return sorted(current.milestones_by(day), key=lambda m: (m.opens, m.key))
    return stored.get(course.pk, [])


_UNREAD = ("source_row__batch__content", "source_row__cells")
"""Of the file that a record came from only its name is shown."""


def _operations(eye: Eye) -> tuple[OperationRow, ...]:
    rows = (
        Operation.objects.filter(eye=eye)
        .select_related("surgeon", "source_row__batch")
        .defer(*_UNREAD)
        .prefetch_related("procedure_rows")
    )
    return tuple(
        OperationRow(
            operation,
            tuple(sorted(str(row) for row in operation.procedure_rows.all())),
            surgeon_name(operation),
            _tamponade(operation),
        )
        for operation in rows.order_by("-date", "-id")
    )


def _tamponade(operation: Operation) -> str:
    label = Tamponade(operation.tamponade_in).label
    percent = f" {operation.tamponade_percent} %" if operation.tamponade_percent is not None else ""
    taken_out = "The tamponade in the eye was taken out. " if operation.takes_out else ""
    return f"{taken_out}Left in the eye: {label}{percent}"


def exam_rows(eye: Eye) -> tuple[ExamRow, ...]:
    """Every exam of the eye that is not entered in error, the last first."""
    exams = (
        Exam.objects.filter(eye=eye, visit__in_error=False)
        .select_related("visit", "visit__examiner", "source_row__batch")
        .defer(*_UNREAD)
        .prefetch_related("acuities", "complication_rows")
        .order_by("-visit__day", "-id")
    )
    return tuple(
        ExamRow(
            exam=exam,
            day=exam.visit.day,
            acuities=tuple(map(_acuity, sorted(exam.acuities.all(), key=_best_first))),
            complications=tuple(sorted(str(row) for row in exam.complication_rows.all())),
            pressure=_pressure(exam),
        )
        for exam in exams
    )


_CORRECTIONS = [word.value for word in Correction]


def _best_first(reading: AcuityReading) -> int:
    return _CORRECTIONS.index(reading.correction)


def _acuity(reading: AcuityReading) -> AcuityRow:
    if reading.logmar is None:
        meaning = reading.category.replace("_", " ")
    else:
        meaning = f"logMAR {reading.logmar:.2f}{', approximate' if reading.approximate else ''}"
    return AcuityRow(reading.as_written, reading.get_correction_display(), meaning)


def _pressure(exam: Exam) -> str:
    if exam.pressure_mmhg is not None:
        return f"{exam.pressure_mmhg} mmHg"
    return exam.pressure_text


def _decisions(eye: Eye) -> tuple[Decision, ...]:
    rows = Decision.objects.filter(eye=eye).select_related(
        "signed_by", "undone_by", "visit", "pathway", "pathway_before"
    )
    return tuple(rows.order_by("-signed_on", "-id"))
