"""The words of the trade, each a stored value and a label for people.

One place for every coded list, so that forms, imports, rules and reports cannot drift apart.
Terms follow common vitreoretinal practice; appointment states are the codes of HL7 FHIR R4.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Self


class Term(StrEnum):
    """A stored code with the label that people read."""

    label: str

    def __new__(cls, value: str, label: str = "") -> Self:
        member = str.__new__(cls, value)
        member._value_ = value
        member.label = label
        return member

    @classmethod
    def choices(cls) -> list[tuple[str, str]]:
        """Pairs (code, label) in the order written, for forms and database fields."""
        return [(term.value, term.label) for term in cls]

    @classmethod
    def codes(cls) -> list[str]:
        return [term.value for term in cls]


class Side(Term):
    RIGHT = "right", "RIGHT"
    LEFT = "left", "LEFT"

    @property
    def fellow(self) -> Side:
        return Side.LEFT if self is Side.RIGHT else Side.RIGHT


class Sex(Term):
    FEMALE = "female", "Female"
    MALE = "male", "Male"
    OTHER = "other", "Other"
    UNKNOWN = "unknown", "Not recorded"


class YesNo(Term):
    YES = "yes", "Yes"
    NO = "no", "No"
    UNKNOWN = "unknown", "Not recorded"


class DatePrecision(Term):
    """How well a date is known: an old log may give a month, or no date at all but days since surgery."""

    DAY = "day", "Exact day"
    MONTH = "month", "Month only"
    YEAR = "year", "Year only"
    NOMINAL = "nominal", "Not known: a stand-in date to count from"


class Indication(Term):
    RRD = "rrd", "Rhegmatogenous retinal detachment"
    REDETACHMENT = "redetachment", "Recurrent retinal detachment"
    PVR = "pvr", "Proliferative vitreoretinopathy"
    GIANT_TEAR = "giant_tear", "Giant retinal tear"
    MHRD = "mhrd", "Macular-hole detachment in high myopia"
    MACULAR_HOLE = "macular_hole", "Full-thickness macular hole"
    MYOPIC_TRACTION = "myopic_traction", "Myopic traction or foveoschisis"
    ERM = "erm", "Epiretinal membrane"
    TRD = "trd", "Tractional or diabetic detachment"
    VITREOUS_HAEMORRHAGE = "vitreous_haemorrhage", "Vitreous haemorrhage"
    TRAUMA = "trauma", "Trauma or foreign body"
    ENDOPHTHALMITIS = "endophthalmitis", "Endophthalmitis"
    DROPPED_LENS = "dropped_lens", "Dislocated lens or implant"
    VIRAL_RETINITIS = "viral_retinitis", "Viral retinitis"
    TAMPONADE_REMOVAL = "tamponade_removal", "Planned removal of tamponade"
    DIABETIC_RETINOPATHY = "diabetic_retinopathy", "Diabetic retinopathy"
    MACULAR_DEGENERATION = "macular_degeneration", "Macular degeneration"
    CATARACT = "cataract", "Cataract"
    RAISED_PRESSURE = "raised_pressure", "Raised pressure"
    OTHER = "other", "Other"
    UNKNOWN = "unknown", "Not recorded"


class Procedure(Term):
    VITRECTOMY = "vitrectomy", "Pars plana vitrectomy"
    MEMBRANE_PEEL = "membrane_peel", "Membrane peel"
    ILM_PEEL = "ilm_peel", "ILM peel"
    ILM_FLAP = "ilm_flap", "Inverted ILM flap"
    RETINECTOMY = "retinectomy", "Retinectomy"
    ENDOLASER = "endolaser", "Endolaser"
    CRYOTHERAPY = "cryotherapy", "Cryotherapy"
    SCLERAL_BUCKLE = "scleral_buckle", "Scleral buckle"
    MACULAR_BUCKLE = "macular_buckle", "Macular buckle"
    BUCKLE_REMOVAL = "buckle_removal", "Buckle removal"
    GAS_INJECTION = "gas_injection", "Gas injection or top-up"
    OIL_INSERTION = "oil_insertion", "Silicone oil insertion"
    OIL_REMOVAL = "oil_removal", "Silicone oil removal"
    OIL_EXCHANGE = "oil_exchange", "Silicone oil exchange"
    LENS_SURGERY = "lens_surgery", "Lens surgery"
    PRESSURE_SURGERY = "pressure_surgery", "Pressure surgery"
    RETINAL_LASER = "retinal_laser", "Retinal laser (clinic)"
    INJECTION = "injection", "Intravitreal injection"
    OTHER = "other", "Other procedure"

    @property
    def is_retinal(self) -> bool:
        """Retinal surgery restarts follow-up; laser, lens and pressure surgery do not (common practice)."""
        return self not in _NOT_RETINAL


_NOT_RETINAL = frozenset(
    {
        Procedure.LENS_SURGERY,
        Procedure.PRESSURE_SURGERY,
        Procedure.RETINAL_LASER,
        Procedure.INJECTION,
        Procedure.OTHER,
    }
)


class TamponadeKind(Term):
    """What the rules need to know of an agent: does it leave by itself, or must it be taken out?"""

    NONE = "none", "None"
    AIR = "air", "Air"
    GAS = "gas", "Gas"
    OIL = "oil", "Silicone oil"
    HEAVY_LIQUID = "heavy_liquid", "Heavy liquid"
    UNKNOWN = "unknown", "Unknown, check"

    @property
    def must_come_out(self) -> bool:
        return self in (TamponadeKind.OIL, TamponadeKind.HEAVY_LIQUID)

    @property
    def leaves_by_itself(self) -> bool:
        return self in (TamponadeKind.AIR, TamponadeKind.GAS)


class Tamponade(Term):
    NONE = "none", "None (balanced salt)"
    AIR = "air", "Air"
    SF6 = "sf6", "SF6 gas"
    C2F6 = "c2f6", "C2F6 gas"
    C3F8 = "c3f8", "C3F8 gas"
    GAS = "gas", "Gas, kind not recorded"
    OIL_1000 = "oil_1000", "Silicone oil 1000 cSt"
    OIL_5000 = "oil_5000", "Silicone oil 5000 cSt"
    OIL = "oil", "Silicone oil, viscosity not recorded"
    HEAVY_OIL = "heavy_oil", "Heavy silicone oil"
    HEAVY_LIQUID = "heavy_liquid", "Heavy liquid (perfluorocarbon)"
    UNKNOWN = "unknown", "Unknown, check"

    @property
    def kind(self) -> TamponadeKind:
        return _KIND_OF_TAMPONADE[self]


_KIND_OF_TAMPONADE = {
    Tamponade.NONE: TamponadeKind.NONE,
    Tamponade.AIR: TamponadeKind.AIR,
    Tamponade.SF6: TamponadeKind.GAS,
    Tamponade.C2F6: TamponadeKind.GAS,
    Tamponade.C3F8: TamponadeKind.GAS,
    Tamponade.GAS: TamponadeKind.GAS,
    Tamponade.OIL_1000: TamponadeKind.OIL,
    Tamponade.OIL_5000: TamponadeKind.OIL,
    Tamponade.OIL: TamponadeKind.OIL,
    Tamponade.HEAVY_OIL: TamponadeKind.OIL,
    Tamponade.HEAVY_LIQUID: TamponadeKind.HEAVY_LIQUID,
    Tamponade.UNKNOWN: TamponadeKind.UNKNOWN,
}


class Extent(Term):
    WITHIN_STAPHYLOMA = "within_staphyloma", "Within the staphyloma"
    BEYOND_STAPHYLOMA = "beyond_staphyloma", "Beyond the staphyloma"
    TO_PERIPHERY = "to_periphery", "To the periphery"
    TOTAL = "total", "Total"
    NO_DETACHMENT = "no_detachment", "No detachment"
    UNKNOWN = "unknown", "Not recorded"


class Repeat(Term):
    FIRST = "first", "First operation"
    REPEAT = "repeat", "Repeat operation"


class Retina(Term):
    ATTACHED = "attached", "Attached"
    PERIPHERAL_FLUID = "peripheral_fluid", "Attached with peripheral fluid"
    DETACHED_MACULA_ON = "detached_macula_on", "Detached, macula on"
    DETACHED_MACULA_OFF = "detached_macula_off", "Detached, macula off"
    NOT_VISIBLE = "not_visible", "Not visible"
    NOT_EXAMINED = "not_examined", "Not examined"

    @property
    def is_detached(self) -> bool:
        return self in (Retina.DETACHED_MACULA_ON, Retina.DETACHED_MACULA_OFF)

    @property
    def is_attached(self) -> bool:
        """Seen attached. Peripheral fluid counts as attached and is shown under its own name."""
        return self in (Retina.ATTACHED, Retina.PERIPHERAL_FLUID)


class Hole(Term):
    NO_HOLE = "no_hole", "No hole"
    CLOSED = "closed", "Closed, type 1 (no bare fovea)"
    CLOSED_DEFECT = "closed_defect", "Closed, type 2 (defect at the fovea)"
    FLAT_OPEN = "flat_open", "Flat, open"
    OPEN = "open", "Open"
    NOT_VISIBLE = "not_visible", "Not visible"
    NOT_EXAMINED = "not_examined", "Not examined"

    @property
    def is_closed(self) -> bool:
        return self in (Hole.CLOSED, Hole.CLOSED_DEFECT)

    @property
    def is_open(self) -> bool:
        return self in (Hole.OPEN, Hole.FLAT_OPEN)


class OuterRetina(Term):
    INTACT = "intact", "Intact on OCT"
    DISRUPTED = "disrupted", "Disrupted on OCT"
    ABSENT = "absent", "Absent on OCT"
    NOT_VISIBLE = "not_visible", "Not visible"
    NOT_EXAMINED = "not_examined", "Not examined"


class Lens(Term):
    PHAKIC = "phakic", "Phakic"
    CATARACT = "cataract", "Phakic, cataract"
    PSEUDOPHAKIC = "pseudophakic", "Pseudophakic"
    APHAKIC = "aphakic", "Aphakic"
    NOT_EXAMINED = "not_examined", "Not examined"


class TamponadeSeen(Term):
    NONE = "none", "None: no bubble, no oil"
    BUBBLE = "bubble", "Air or gas bubble"
    OIL = "oil", "Silicone oil"
    HEAVY_LIQUID = "heavy_liquid", "Heavy liquid"
    NOT_EXAMINED = "not_examined", "Not examined"


class Complication(Term):
    RAISED_PRESSURE = "raised_pressure", "Raised pressure"
    HYPOTONY = "hypotony", "Low pressure"
    EMULSIFICATION = "emulsification", "Emulsified oil"
    OIL_IN_FRONT = "oil_in_front", "Oil in the anterior chamber"
    KERATOPATHY = "keratopathy", "Band keratopathy"
    CATARACT = "cataract", "Cataract"
    EPIRETINAL_MEMBRANE = "epiretinal_membrane", "Epiretinal membrane"
    PVR = "pvr", "Proliferative vitreoretinopathy"
    UNEXPLAINED_LOSS = "unexplained_loss", "Unexplained loss of sight"
    HAEMORRHAGE = "haemorrhage", "Haemorrhage"
    INFECTION = "infection", "Infection"
    BUCKLE_EXPOSED = "buckle_exposed", "Buckle exposed"
    DOUBLE_VISION = "double_vision", "Double vision"
    OTHER = "other", "Other"


class Correction(Term):
    BEST = "best", "Best corrected after refraction"
    HABITUAL = "habitual", "Own glasses or contact lens"
    PINHOLE = "pinhole", "Pinhole"
    UNAIDED = "unaided", "Unaided"
    UNKNOWN = "unknown", "Not recorded"


class Lane(Term):
    REVIEW = "review", "Review"
    REMOVAL = "removal", "Removal of tamponade"


class Standing(Term):
    """Where an operated eye stands; most pressing first, closed last."""

    NEEDS_DECISION = "needs_decision", "Needs a decision"
    OVERDUE = "overdue", "Overdue"
    TO_BOOK = "to_book", "To book"
    BOOKED = "booked", "Booked"
    WAITING = "waiting", "Waiting"
    CLOSED = "closed", "Closed"


class Mark(Term):
    """What became of a milestone, as the facts alone say; missed and due also depend on the day."""

    MET = "met", "Met on time"
    MET_LATE = "met_late", "Met late"
    SIGNED = "signed", "Met by a visit that a clinician signed for"
    SUPERSEDED = "superseded", "Superseded"
    OPEN = "open", "Not met"


class SessionKind(Term):
    CLINIC = "clinic", "Clinic"
    THEATRE = "theatre", "Theatre list"


class AppointmentState(Term):
    BOOKED = "booked", "Booked"
    ARRIVED = "arrived", "Arrived"
    FULFILLED = "fulfilled", "Attended"
    NOSHOW = "noshow", "Did not attend"
    CANCELLED = "cancelled", "Cancelled"

    @property
    def holds_place(self) -> bool:
        return self is not AppointmentState.CANCELLED

    @property
    def awaits_outcome(self) -> bool:
        return self in (AppointmentState.BOOKED, AppointmentState.ARRIVED)


class Reply(Term):
    """What an invited person answered."""

    ACCEPTED = "accepted", "Will come"
    TENTATIVE = "tentative", "May come"
    DECLINED = "declined", "Cannot come"


class CancelledBy(Term):
    PATIENT = "patient", "The patient"
    CLINIC = "clinic", "The clinic"
    DEATH = "death", "The patient died"


class DecisionKind(Term):
    KEEP_OIL = "keep_oil", "Keep the oil in"
    SEE_AGAIN = "see_again", "See again"
    PLAN = "plan", "Plan made"
    CHANGE_PATHWAY = "change_pathway", "Change of pathway"
    STANDS_FOR = "stands_for", "A visit stands for a milestone"
    DISCHARGE = "discharge", "Discharge"
    TRANSFER = "transfer", "Transfer"
    LOST = "lost", "Lost after review"
    REFUSED = "refused", "Patient refused further follow-up"
    DIED = "died", "Died"

    @property
    def closes(self) -> bool:
        return self in _CLOSING


_CLOSING = frozenset(
    {
        DecisionKind.DISCHARGE,
        DecisionKind.TRANSFER,
        DecisionKind.LOST,
        DecisionKind.REFUSED,
        DecisionKind.DIED,
    }
)


class Question(Term):
    """What only a clinician can answer, or a second person."""

    SYMPTOMS = "symptoms", "Reports new symptoms"
    DEATH = "death", "A death to confirm"
    DETACHED = "detached", "Detached without a plan"
    TAMPONADE_UNKNOWN = "tamponade_unknown", "Tamponade unknown"
    CONTRADICTION = "contradiction", "Records that contradict each other"
    UNREACHED = "unreached", "Nobody could be reached"
    REFUSES = "refuses", "Refuses"
    LETTER_RETURNED = "letter_returned", "Letter returned"
    POSTPONED = "postponed", "Postponed by the clinic"
    OIL_REVIEW = "oil_review", "Oil kept past its review"
    COMPLETE = "complete", "Planned reviews done"


class Channel(Term):
    PHONE = "phone", "Telephone"
    TEXT = "text", "Text message"
    EMAIL = "email", "E-mail"
    LETTER = "letter", "Letter"
    REFERRER = "referrer", "Referrer or family doctor"
    KIN = "kin", "Next of kin (with consent)"
    IN_PERSON = "in_person", "In person"

    @property
    def is_written(self) -> bool:
        """A person agrees to each of these by itself, and may withdraw."""
        return self in (Channel.TEXT, Channel.EMAIL, Channel.LETTER)

    @property
    def needs_consent(self) -> bool:
        """Whatever is written, and a word with the next of kin."""
        return self.is_written or self is Channel.KIN


class Language(Term):
    """A language in which messages and letters are written."""

    ENGLISH = "en", "English"
    ARABIC = "ar", "العربية"

    @classmethod
    def recognised(cls, written: str) -> Language | None:
        """The language meant by what stands in a record, such as 'Arabic' or 'ar'; None for any other."""
        return _LANGUAGES_AS_WRITTEN.get(written.strip().casefold())


_LANGUAGES_AS_WRITTEN = {
    "en": Language.ENGLISH,
    "english": Language.ENGLISH,
    "ar": Language.ARABIC,
    "arabic": Language.ARABIC,
    "العربية": Language.ARABIC,
    "عربي": Language.ARABIC,
}


class LetterKind(Term):
    APPOINTMENT = "appointment", "Appointment"
    NOT_REACHED = "not_reached", "We could not reach you"
    OIL = "oil", "Oil still in the eye"


class ContactResult(Term):
    WILL_COME = "will_come", "Reached, will come"
    CALL_BACK = "call_back", "Reached, call again"
    REFUSED = "refused", "Reached, refuses"
    NO_ANSWER = "no_answer", "No answer"
    MESSAGE_LEFT = "message_left", "Message left"
    SENT = "sent", "Sent, no reply yet"
    WRONG_NUMBER = "wrong_number", "Wrong number or address"
    RETURNED = "returned", "Message or letter returned"
    NOT_POSSIBLE = "not_possible", "Could not be tried: no number, address or consent"
    SYMPTOMS = "symptoms", "Reports new symptoms"

    @property
    def reached(self) -> bool:
        return self in (
            ContactResult.WILL_COME,
            ContactResult.CALL_BACK,
            ContactResult.REFUSED,
            ContactResult.SYMPTOMS,
        )


class NotAttending(Term):
    """Why somebody did not come (common practice, no source)."""

    COST = "cost", "Cost or distance"
    NO_ESCORT = "no_escort", "Nobody to come with"
    FEELS_FINE = "feels_fine", "Feels fine"
    POOR_SIGHT = "poor_sight", "Poor sight remains"
    FEAR = "fear", "Fear of more surgery"
    ILL = "ill", "Ill"
    MOVED = "moved", "Moved away"
    ELSEWHERE = "elsewhere", "Seen elsewhere"
    NO_LETTER = "no_letter", "Never received the letter"
    LANGUAGE = "language", "Language"
    WORK = "work", "Work"
    DETAILS = "details", "Wrong details"
    CLINIC_CANCELLED = "clinic_cancelled", "The clinic cancelled"
    NOT_KNOWN = "not_known", "Not known"


class Clock(Term):
    """Where the recurrence-free time of an eye starts."""

    INDEX = "index", "Index operation"
    REMOVED = "removed", "Tamponade removed or gone"


class RecurrenceEvent(Term):
    REDETACHMENT = "redetachment", "Redetachment"
    HOLE = "hole", "Hole reopened"
    EITHER = "either", "Redetachment or hole reopened"
    REOPERATION = "reoperation", "Any reoperation"
    GAIN = "gain", "Three lines gained (15 letters)"
