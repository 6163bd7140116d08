"""What was found in one eye at a visit: read as typed, checked, then written."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from followup.domain.acuity.notation import Acuity, Notation
from followup.domain.acuity.parse import read_acuity
from followup.domain.errors import BadValue, FollowUpError, Refused
from followup.domain.words import (
    Complication,
    Correction,
    Hole,
    Lens,
    OuterRetina,
    Retina,
    Side,
    TamponadeSeen,
)
from followup.models import AcuityReading, Exam, ExamComplication, Patient, Visit
from followup.services.people import ensure_eye
from followup.services.pressure import Pressure, read_pressure
from followup.services.rows import known, save_valid

NOT_EXAMINED = "not_examined"


@dataclass(frozen=True, slots=True)
class AcuityEntry:
    """One reading as typed, and the code of what the eye looked through."""

    as_written: str
    correction: str = "unknown"


@dataclass(frozen=True, slots=True)
class ExamEntry:
    """The findings of one eye as typed. Codes are those of the words; pressure is '18', 'soft' or ''."""

    side: str
    pressure: str = ""
    retina: str = NOT_EXAMINED
    hole: str = NOT_EXAMINED
    outer_retina: str = NOT_EXAMINED
    lens: str = NOT_EXAMINED
    tamponade_seen: str = NOT_EXAMINED
    fill_percent: int | None = None
    complications: Collection[str] = ()
    note: str = ""
    acuities: Sequence[AcuityEntry] = ()

    @property
    def is_blank(self) -> bool:
        """Nothing was found or looked for: an empty box on the form is no exam, and meets no review."""
        findings = (self.retina, self.hole, self.outer_retina, self.lens, self.tamponade_seen)
        texts = (self.pressure, self.note, *(entry.as_written for entry in self.acuities))
        return (
            all(finding == NOT_EXAMINED for finding in findings)
            and not any(text.strip() for text in texts)
            and self.fill_percent is None
            and not self.complications
        )


@dataclass(frozen=True, slots=True)
class ExamRead:
    """An entry that was read and found good."""

    side: Side
    pressure: Pressure
    findings: dict[str, str]
    fill_percent: int | None
    complications: tuple[Complication, ...]
    note: str
    acuities: tuple[tuple[Acuity, Correction], ...]


def read_exams(entries: Sequence[ExamEntry], *, bare_acuity: Notation | None) -> list[ExamRead]:
    """The entries that hold anything, read. Each fault names eye and value, with field '<side>-<what>'.

    Raises Refused for two entries of one side and when nothing at all was entered; BadValue for what cannot
    be read.
    """
    wanted = [entry for entry in entries if not entry.is_blank]
    if not wanted:
        raise Refused("Nothing was entered for either eye. Enter what was found.", code="nothing_examined")
    exams = [_read(entry, bare_acuity) for entry in wanted]
    if len({exam.side for exam in exams}) < len(exams):
        raise Refused("One eye was entered twice. Enter each eye once.", field="side", code="side_twice")
    return exams


def write_exam(visit: Visit, patient: Patient, exam: ExamRead) -> Exam:
    row = Exam(
        visit=visit,
        eye=ensure_eye(patient=patient, side=exam.side.value),
        pressure_mmhg=exam.pressure.mmhg,
        pressure_text=exam.pressure.text,
        fill_percent=exam.fill_percent,
        note=exam.note,
        **exam.findings,
    )
    save_valid(row)
    ExamComplication.objects.bulk_create(
        ExamComplication(exam=row, complication=complication.value) for complication in exam.complications
    )
    for acuity, correction in exam.acuities:
        save_valid(_acuity_row(row, acuity, correction))
    return row


def exam_values(exam: Exam) -> dict[str, object]:
    """The findings of a stored exam, for the history."""
    return {
        "side": exam.eye.side,
        "pressure": exam.pressure_text or exam.pressure_mmhg,
        "retina": exam.retina,
        "hole": exam.hole,
        "outer_retina": exam.outer_retina,
        "lens": exam.lens,
        "tamponade_seen": exam.tamponade_seen,
        "fill_percent": exam.fill_percent,
        "complications": sorted(row.complication for row in exam.complication_rows.all()),
        "note": exam.note,
        "acuities": [[row.as_written, row.correction] for row in exam.acuities.order_by("id")],
    }


def _read(entry: ExamEntry, bare: Notation | None) -> ExamRead:
    side = known(Side, entry.side, field="side")
    try:
        return ExamRead(
            side=side,
            pressure=read_pressure(entry.pressure),
            findings=_findings(entry),
            fill_percent=_percent(entry.fill_percent),
            complications=tuple(
                known(Complication, code, field="complications")
                for code in dict.fromkeys(entry.complications)
            ),
            note=entry.note.strip(),
            acuities=tuple(_acuities(entry, bare)),
        )
    except FollowUpError as fault:
        field = f"{side.value}-{fault.field}" if fault.field else ""
        raise type(fault)(f"{side.label} eye, {fault.message}", field=field, code=fault.code) from fault


def _findings(entry: ExamEntry) -> dict[str, str]:
    return {
        "retina": known(Retina, entry.retina, field="retina").value,
        "hole": known(Hole, entry.hole, field="hole").value,
        "outer_retina": known(OuterRetina, entry.outer_retina, field="outer_retina").value,
        "lens": known(Lens, entry.lens, field="lens").value,
        "tamponade_seen": known(TamponadeSeen, entry.tamponade_seen, field="tamponade_seen").value,
    }


def _percent(percent: int | None) -> int | None:
    if percent is not None and not 0 <= percent <= 100:
        raise BadValue(
            f'fill "{percent}" per cent cannot be. Write 0 to 100.', field="fill_percent", code="percent"
        )
    return percent


def _acuities(entry: ExamEntry, bare: Notation | None) -> list[tuple[Acuity, Correction]]:
    readings = [_acuity(typed, bare) for typed in entry.acuities if typed.as_written.strip()]
    corrections = [correction for _, correction in readings]
    for correction in corrections:
        if corrections.count(correction) > 1:
            raise Refused(
                f'two acuities are marked "{correction.label}". Keep one, or mark the other.',
                field="acuity",
                code="acuity_twice",
            )
    return readings


def _acuity(typed: AcuityEntry, bare: Notation | None) -> tuple[Acuity, Correction]:
    said = known(Correction, typed.correction, field="correction")
    text = typed.as_written.strip()
    try:
        acuity = read_acuity(text, bare=bare)
    except BadValue as fault:
        raise BadValue(f'acuity "{text}": {fault.message}', field="acuity", code=fault.code) from fault
    written = acuity.correction or Correction.UNKNOWN
    if Correction.UNKNOWN not in (said, written) and said is not written:
        raise BadValue(
            f'acuity "{text}" says "{written.label}" but is marked "{said.label}". Correct one of the two.',
            field="acuity",
            code="correction_contradicts",
        )
    return acuity, written if said is Correction.UNKNOWN else said


def _acuity_row(exam: Exam, acuity: Acuity, correction: Correction) -> AcuityReading:
    return AcuityReading(
        exam=exam,
        as_written=acuity.as_written,
        notation=acuity.notation.value,
        correction=correction.value,
        logmar=acuity.logmar_4dp,
        category=acuity.category.value if acuity.category else "",
        approximate=acuity.approximate,
    )
