"""Where every operated eye of a site stands on a day: from stored rows, in a constant number of queries."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Exists, F, Max, OuterRef, QuerySet, Window
from django.db.models.functions import RowNumber

from followup.domain import standing as rules
from followup.domain.facts import AppointmentFact, PathwayId
from followup.domain.fills import Fill as FillFact
from followup.domain.fills import open_fill
from followup.domain.pathway.book import PathwayBook
from followup.domain.pathway.milestones import Course as CourseFact
from followup.domain.pathway.milestones import Milestone as MilestoneFact
from followup.domain.priority import Priority, priority_of
from followup.domain.standing import EyeStanding, EyeState, Limits
from followup.domain.words import Lane, Mark, Retina, Side, Standing, Tamponade, TamponadeSeen
from followup.models import Course, Exam, Eye, Fill, Milestone, Operation, Site
from followup.queries import facts
from followup.queries.ladder import ladder_of


@dataclass(frozen=True, slots=True)
class EyeStandingRow:
    """One operated eye with its standing, ready for a list."""

    eye: Eye
    """With its patient at hand."""
    state: EyeState
    standing: EyeStanding
    priority: Priority

    @property
    def side(self) -> Side:
        return Side(self.eye.side)

    @property
    def appointment(self) -> AppointmentFact | None:
        """The first place ahead that covers a lane of this eye."""
        return next((lane.appointment for lane in self.standing.lanes if lane.appointment), None)


def limits_of(site: Site) -> Limits:
    return Limits(ladder=ladder_of(site), horizon_days=site.horizon_days)


def operated_eyes(site: Site) -> QuerySet[Eye]:
    """Every eye with an operation that is not entered in error: the ones that must add up."""
    # EXISTS, since SQLite walks "in a list" once for every eye of the site.
    operated = Operation.objects.filter(eye=OuterRef("pk"), in_error=False)
    return Eye.objects.filter(Exists(operated), patient__site=site)


def site_standings(*, site: Site, day: date, eye_ids: Collection[int] | None = None) -> list[EyeStandingRow]:
    """All operated eyes of the site (or those asked for), most pressing first."""
    eyes = operated_eyes(site).select_related("patient")
    if eye_ids is not None:
        eyes = eyes.filter(pk__in=eye_ids)
    limits = limits_of(site)
    rows = []
    for eye, state in _states(eyes):
        standing = rules.standing_on(state, day, limits)
        rows.append(EyeStandingRow(eye, state, standing, priority_of(state, standing, day)))
    return sorted(rows, key=lambda row: row.priority.key)


def sum_of_standings(rows: Iterable[EyeStandingRow]) -> dict[Standing, int]:
    """How many eyes are in each standing; every standing is there, also with none."""
    counted = Counter(row.standing.standing for row in rows)
    return {standing: counted[standing] for standing in Standing}


def _states(eyes: QuerySet[Eye]) -> Iterable[tuple[Eye, EyeState]]:
    # A subquery, not a list of ids: a site may have more eyes than a database takes parameters.
    wanted = eyes.order_by().values("pk")
    found = list(eyes)
    courses = _courses(wanted)
    fills = _fills(wanted)
    operations = dict(
        Operation.objects.filter(eye__in=wanted, in_error=False).values_list("eye_id").annotate(Max("date"))
    )
    exams = Exam.objects.filter(eye__in=wanted, visit__in_error=False)
    seen = dict(exams.values_list("eye_id").annotate(Max("visit__day")))
    retinas = _latest(exams.exclude(retina__in=["not_visible", "not_examined"]), "retina")
    tamponades = _latest(exams.exclude(tamponade_seen="not_examined"), "tamponade_seen")
    appointments = facts.appointment_facts(found, wanted)
    decisions = facts.decision_facts(wanted)
    attempts, reports = facts.attempt_facts(wanted), facts.report_facts(wanted)
    for eye in found:
        retina, tamponade = retinas.get(eye.pk), tamponades.get(eye.pk)
        yield (
            eye,
            EyeState(
                eye_id=eye.pk,
                traits=facts.traits_of(eye),
                course=courses[eye.pk],
                last_operation=operations[eye.pk],
                fill=open_fill(fills[eye.pk]),
                last_seen=seen.get(eye.pk),
                last_retina=(retina[0], Retina(retina[1])) if retina else None,
                last_tamponade=(tamponade[0], TamponadeSeen(tamponade[1])) if tamponade else None,
                appointments=tuple(appointments[eye.pk]),
                decisions=tuple(decisions[eye.pk]),
                attempts=tuple(attempts[eye.patient_id]),
                reports=tuple(reports[eye.patient_id]),
            ),
        )


def _latest(exams: QuerySet[Exam], field: str) -> dict[int, tuple[date, str]]:
    """Of each eye, the day and the value of its last exam."""
    place = Window(RowNumber(), partition_by=F("eye_id"), order_by=[F("visit__day").desc(), F("id").desc()])
    rows = exams.annotate(place=place).filter(place=1).values_list("eye_id", "visit__day", field)
    return {eye_id: (day, value) for eye_id, day, value in rows}


def _courses(eyes: facts.SomeEyes) -> dict[int, CourseFact]:
    book = facts.pathway_book()
    milestones: defaultdict[int, list[MilestoneFact]] = defaultdict(list)
    current = Course.objects.filter(eye__in=eyes, superseded_on__isnull=True)
    rows = Milestone.objects.filter(course__in=current.values("pk")).order_by("course_id", "id")
    for row in rows:
        milestones[row.course_id].append(milestone_fact(row))
    return {
        course.eye_id: course_fact(course, milestones[course.pk], book)
        for course in current.select_related("pathway")
    }


def course_fact(course: Course, milestones: Iterable[MilestoneFact], book: PathwayBook) -> CourseFact:
    """Needs the course's pathway at hand."""
    pathway = PathwayId(course.pathway.key, course.pathway.version)
    return CourseFact(
        operation_id=course.operation_id,
        anchor=course.anchor,
        pathway=pathway,
        chosen_for=course.chosen_for,
        milestones=tuple(milestones),
        superseded_on=course.superseded_on,
        endless=book.versions[pathway].endless,
    )


def milestone_fact(row: Milestone) -> MilestoneFact:
    return MilestoneFact(
        key=row.key,
        title=row.title,
        lane=Lane(row.lane),
        opens=row.opens,
        target=row.target,
        closes=row.closes,
        period_ends=row.period_ends,
        one_off=row.one_off,
        mark=Mark(row.mark),
        met_on=row.met_on,
    )


def fill_fact(row: Fill) -> FillFact:
    return FillFact(
        tamponade=Tamponade(row.tamponade),
        placed_on=row.placed_on,
        placed_by=row.placed_by_id,
        first_placed_on=row.first_placed_on,
        ended_on=row.ended_on,
        ended_by=row.ended_by_id,
    )


def _fills(eyes: facts.SomeEyes) -> defaultdict[int, list[FillFact]]:
    found: defaultdict[int, list[FillFact]] = defaultdict(list)
    for row in Fill.objects.filter(eye__in=eyes, ended_on__isnull=True).order_by("id"):
        found[row.eye_id].append(fill_fact(row))
    return found
