"""Findings that were copied from one visit to the next without anybody looking."""

from __future__ import annotations

from collections.abc import Iterable

from followup.interchange.sheets.rows import ExamSaid, RowSaid, VisitSaid


def drop_carried_forward(rows: Iterable[RowSaid]) -> None:
    """Takes "attached" out of visits that name no examiner and repeat it from the row before, of that eye.

    Only for a file with a column for the examiner: without one, nobody can tell. Each such row gets a note.
    """
    last: dict[tuple[object, ...], object] = {}
    for row in rows:
        for visit in row.visits:
            for side, exam in visit.exams.items():
                eye = (row.record_number, side or row.sides)
                retina = exam.fields.get("retina")
                if retina is not None and retina == last.get(eye) and _nobody_looked(visit, exam):
                    del exam.fields["retina"]
                    row.problem(
                        f"{str(retina).capitalize()} is repeated from the visit before, and no examiner is "
                        "named: taken as not examined.",
                        "note",
                    )
                elif retina is not None:
                    last[eye] = retina


def _nobody_looked(visit: VisitSaid, exam: ExamSaid) -> bool:
    """Whether the visit names no examiner and found nothing else in the eye."""
    return not visit.examiner and set(exam.fields) == {"retina"} and not exam.acuities
