"""The catalogue of import columns. A new column is one entry here: its name, meaning, reader and headings."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from followup.domain.words import (
    Complication,
    DatePrecision,
    Extent,
    Hole,
    Indication,
    Lens,
    OuterRetina,
    Procedure,
    Repeat,
    Retina,
    Sex,
    Side,
    Tamponade,
    TamponadeSeen,
    Term,
    YesNo,
)
from followup.interchange.sheets import values
from followup.interchange.sheets.cells import Cell, refuse_control, refuse_formula, says_missing, tidy
from followup.interchange.sheets.synonyms import words_for
from followup.interchange.sheets.values import CellRule, Fields, Reader


class Subject(StrEnum):
    """What a column says something about; a row may speak of all six."""

    PATIENT = "patient"
    EYE = "eye"
    OPERATION = "operation"
    VISIT = "visit"
    EXAM = "exam"
    ACUITY = "acuity"


@dataclass(frozen=True, slots=True)
class Column:
    """headings: lower-case words by which the column is known in a file; many: may come more than once."""

    name: str
    subject: Subject
    meaning: str
    reader: Reader
    headings: tuple[str, ...] = ()
    many: bool = False
    keeps_words: bool = False
    """Text in which "NA" may be meant: initials, names, notes."""
    kind: type[Term] | None = None
    """The coded list its values come from."""

    def read(self, cell: Cell, rule: CellRule) -> Fields:
        """Values by field; nothing where the cell says that nothing is known. Raises CellProblem."""
        refuse_formula(cell)
        refuse_control(cell)
        if says_missing(cell, rule.missing, words=not self._holds_word(cell)):
            return {}
        if rule.codes:
            meant = rule.codes.get(tidy(cell).casefold())
            if meant == "":
                return {}
            cell = meant or cell
        return self.reader(cell, rule)

    def _holds_word(self, cell: Cell) -> bool:
        """Whether a word for missing is a value here: "none" of a tamponade, NA of initials."""
        return self.keeps_words or (self.kind is not None and tidy(cell).casefold() in words_for(self.kind))


_P, _E, _O = Subject.PATIENT, Subject.EYE, Subject.OPERATION
_V, _X, _A = Subject.VISIT, Subject.EXAM, Subject.ACUITY


def _words(text: str) -> tuple[str, ...]:
    return tuple(text.split("|"))


def _coded(
    name: str, subject: Subject, meaning: str, kind: type[Term], headings: tuple[str, ...] = ()
) -> Column:
    return Column(name, subject, meaning, values.term(name, kind), headings, kind=kind)


_ALL = (
    Column("record_number", _P, "Record number at the site; leading zeros count.", values.record_number,
           _words("record number|record no|record_no|mrn|hospital number|patient id|patid|patient no|id|pid"
                  "|anon id|subject|aktenzeichen|patientennummer|patienten-id|numéro de dossier|dossier"
                  "|historia|nhc|número de historia|رقم الملف")),
    Column("name", _P, "Whole name: family name, then a comma and the given name.", values.full_name,
           _words("name|patient|patient name|nombre|nom et prénom|الاسم"), keeps_words=True),
    Column("family_name", _P, "Family name.", values.text_of("family_name", 80),
           _words("family name|surname|last name|nachname|nom|apellido|apellidos|initials|اسم العائلة"),
           keeps_words=True),
    Column("given_name", _P, "Given name.", values.text_of("given_name", 80),
           _words("given name|first name|forename|vorname|prénom|nombre de pila|الاسم الأول"),
           keeps_words=True),
    Column("birth_date", _P, "Date of birth.", values.birth_date,
           _words("birth date|date of birth|dob|born|geburtsdatum|geb|date de naissance|fecha de nacimiento"
                  "|تاريخ الميلاد")),
    _coded("sex", _P, "Sex.", Sex, _words("sex|gender|geschlecht|sexe|sexo|الجنس")),
    Column("age", _P, "Age in years at the first operation, where no birth date is known.",
           values.whole_number("age_stated", 0, 120, "years"),
           _words("age|baselineage|baseline age|age at surgery|alter|âge|edad|العمر")),
    Column("phone", _P, "Telephone.", values.phone,
           _words("phone|telephone|mobile|tel|telefon|handy|téléphone|teléfono|móvil|الهاتف")),
    Column("email", _P, "E-mail address.", values.email,
           _words("email|e-mail|mail|courriel|correo|البريد")),
    Column("language", _P, "Language of letters and messages.", values.text_of("language", 20),
           _words("language|sprache|langue|idioma|اللغة"), keeps_words=True),
    Column("postal_address", _P, "Postal address, as on an envelope.",
           values.lines_of("postal_address", 1000),
           _words("postal address|address|anschrift|adresse|dirección|العنوان"), keeps_words=True),
    Column("time_zone", _P, "Time zone where the person lives, such as Africa/Cairo.", values.time_zone,
           _words("time zone|time_zone|zeitzone")),
    Column("contact_note", _P, "How to reach this person safely.", values.lines_of("contact_note", 4000),
           _words("contact note|contact_note"), keeps_words=True),
    Column("side", _E, "Which eye: right or left.", values.side,
           _words("side|eye|laterality|operated eye|seite|auge|œil|oeil|côté|ojo|lado|العين"), kind=Side),
    Column("axial_length_mm", _E, "Axial length, mm.", values.axial_length,
           _words("axial length|al|axl|axial length mm|axial_length_mm|achsenlänge|longueur axiale"
                  "|longitud axial|الطول المحوري")),
    _coded("staphyloma", _E, "Posterior staphyloma: yes or no.", YesNo,
           _words("staphyloma|staphylom|staphylome|estafiloma")),
    Column("only_eye", _E, "The fellow eye has no useful sight: yes or no.", values.yes("only_eye"),
           _words("only eye|only_eye|monocular|einziges auge|œil unique|ojo único")),
    Column("operation_date", _O, "Day of the operation.", values.operation_date,
           _words("operation date|operation_date|date of operation|date of surgery|surgery date|op date"
                  "|surgery|op-datum|operationsdatum|date d'opération|date de l'intervention|fecha de cirugía"
                  "|fecha de operación|تاريخ العملية")),
    _coded("date_precision", _O, "How well its date is known: day, month, year or nominal.", DatePrecision),
    _coded("indication", _O, "Why it was done.", Indication,
           _words("indication|diagnosis|indikation|diagnose|diagnostic|diagnóstico|indicación|التشخيص")),
    Column("procedures", _O, "What was done; several may stand in one cell.", values.procedures,
           _words("procedures|procedure|operation|eingriff|intervention|geste|procedimiento|cirugía|العملية"),
           many=True, kind=Procedure),
    _coded("tamponade_in", _O, "What was left in the eye.", Tamponade,
           _words("tamponade|tamponade in|tamponade_in|endotamponade|tamponnement|taponamiento|agent|gas")),
    Column("tamponade_percent", _O, "Concentration of the gas, per cent.",
           values.whole_number("tamponade_percent", 0, 100, "per cent"), _words("gas percent|concentration")),
    Column("takes_out", _O, "The tamponade that was in was taken out: yes or no.", values.yes("takes_out"),
           _words("takes out|takes_out|tamponade out|oil removed|oil out|ölentfernung")),
    _coded("repeat", _O, "First or repeat operation.", Repeat,
           _words("repeat|first or repeat|reoperation")),
    _coded("extent", _O, "Extent of the detachment.", Extent,
           _words("extent|ausdehnung")),
    Column("surgeon_name", _O, "Surgeon.", values.text_of("surgeon_name", 80),
           _words("surgeon|surgeon name|operateur|chirurg|chirurgien|cirujano|الجراح"), keeps_words=True),
    _coded("attached_at_end", _O, "Retina attached at the end of surgery: yes or no.", YesNo,
           _words("attached at end|attached_at_end")),
    Column("restarts", _O, "Follow-up starts again from here: yes or no; empty: by rule.",
           values.yes("restarts")),
    Column("operation_note", _O, "Note on the operation.", values.lines_of("note", 4000),
           _words("operation note|op note"), keeps_words=True),
    Column("visit_date", _V, "Day of the visit.", values.visit_date,
           _words("visit date|visit_date|date of visit|exam date|seen on|date|datum|besuchsdatum"
                  "|date de visite|fecha|fecha de visita|تاريخ الزيارة")),
    Column("visit_offset", _V, "Days, weeks or months after the operation.", values.visit_offset,
           _words("days|followupdays|followup days|follow-up days|time|ttoinj d|dayssincebaseline"
                  "|days since baseline|weeks|months|futime|tage|jours|días")),
    Column("examiner", _V, "Who examined; decides whether a repeated finding was seen or carried forward.",
           values.text_of("examiner", 80),
           _words("examiner|examined by|seen by|untersucher|examinateur|examinador|الفاحص"),
           keeps_words=True),
    Column("visit_note", _V, "Note on the visit.", values.lines_of("note", 4000),
           _words("visit note|notes|note"), keeps_words=True),
    Column("pressure", _X, "Pressure, mmHg, or a word such as soft.", values.pressure,
           _words("pressure|iop|intraocular pressure|tension|tonometry|augendruck|iod|tio|pio|ضغط العين")),
    _coded("retina", _X, "Attached or detached.", Retina,
           _words("retina|retina status|netzhaut|rétine|retine|الشبكية")),
    _coded("hole", _X, "Macular hole: closed or open.", Hole,
           _words("hole|macular hole|hole status|makulaforamen|trou maculaire|agujero")),
    _coded("outer_retina", _X, "Outer retina on OCT.", OuterRetina,
           _words("outer retina|ellipsoid|ez")),
    _coded("lens", _X, "Lens.", Lens,
           _words("lens|lens status|linse|cristallin|cristalino|pseudophakic|العدسة")),
    _coded("tamponade_seen", _X, "What is seen in the eye.", TamponadeSeen,
           _words("tamponade seen|tamponade_seen|bubble|oil in")),
    Column("fill_percent", _X, "How full of tamponade, per cent.",
           values.whole_number("fill_percent", 0, 100, "per cent"), _words("fill|fill percent|fill_percent")),
    Column("complications", _X, "Complications; several may stand in one cell.",
           values.terms("complications", Complication),
           _words("complication|complications|komplikation|komplikationen|complicación|complicaciones"),
           many=True, kind=Complication),
    Column("exam_note", _X, "Note on the exam of this eye.", values.lines_of("note", 4000),
           _words("exam note|findings|befund"), keeps_words=True),
    Column("acuity", _A, "Visual acuity.", values.acuity,
           _words("acuity|va|visual acuity|bcva|vision|letters|etdrs|va etdrs|va etdrs letters|logmar|visus"
                  "|acuité|acuité visuelle|av|avl|agudeza|agudeza visual|حدة البصر")),
)  # fmt: skip

CATALOGUE: dict[str, Column] = {column.name: column for column in _ALL}
"""Columns by name, in the order in which a form lists them."""

OF_A_VISIT = frozenset((Subject.VISIT, Subject.EXAM, Subject.ACUITY))
