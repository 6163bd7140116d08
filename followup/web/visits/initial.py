"""What the correction form of a visit starts from: everything as it stands."""

from __future__ import annotations

from typing import Any

from followup.models import Exam, Visit

_SAME = ("retina", "hole", "outer_retina", "lens", "tamponade_seen", "fill_percent", "note")


def values_of(visit: Visit) -> dict[str, dict[str, Any]]:
    exams = visit.exams.select_related("eye").prefetch_related("acuities", "complication_rows")
    return {"visit": {"day": visit.day, "note": visit.note}} | {exam.eye.side: _exam(exam) for exam in exams}


def _exam(exam: Exam) -> dict[str, Any]:
    acuities = {f"acuity_{row.correction}": row.as_written for row in exam.acuities.all()}
    pressure = exam.pressure_text if exam.pressure_mmhg is None else str(exam.pressure_mmhg)
    complications = [row.complication for row in exam.complication_rows.all()]
    same = {name: getattr(exam, name) for name in _SAME}
    return same | acuities | {"pressure": pressure, "complications": complications}


def not_examined() -> dict[str, Any]:
    """An eye that nobody has looked at yet."""
    return dict.fromkeys(("retina", "hole", "outer_retina", "lens", "tamponade_seen"), "not_examined")
