"""Codes of open standards in an exchange: only those found in several published guides, each pair by side.

LOINC, SNOMED CT and ICD-10 codes as they appear in published FHIR guides and value sets. Whatever has no such
code is told in words. LOINC is free with attribution; SNOMED CT needs a national or affiliate licence.
"""

from __future__ import annotations

from typing import Any

from followup.domain.words import Correction, Indication, Side

LOINC, SNOMED = "http://loinc.org", "http://snomed.info/sct"
ICD_10, UCUM = "http://hl7.org/fhir/sid/icd-10", "http://unitsofmeasure.org"

Concept = dict[str, Any]

_EYES = {
    Side.RIGHT: ("362502000", "Entire right eye"),
    Side.LEFT: ("362503005", "Entire left eye"),
}
_PRESSURES = {
    Side.RIGHT: ("79892-6", "Right eye intraocular pressure"),
    Side.LEFT: ("79893-4", "Left eye intraocular pressure"),
}
_ACUITIES = {
    (Correction.BEST, Side.RIGHT): ("65893-0", "Best corrected visual acuity, right eye"),
    (Correction.BEST, Side.LEFT): ("65897-1", "Best corrected visual acuity, left eye"),
    (Correction.UNAIDED, Side.RIGHT): ("98499-7", "Uncorrected visual acuity, right eye"),
    (Correction.UNAIDED, Side.LEFT): ("98498-9", "Uncorrected visual acuity, left eye"),
}
_ANY_ACUITY = ("28631-0", "Visual acuity study")
_PINHOLE = ("419475002", "Pinhole")
_DETACHMENT = ("H33.0", "Retinal detachment with retinal break")


def concept(text: str, system: str = "", code: str = "") -> Concept:
    """Words, with the code where there is one."""
    coding = {"coding": [{"system": system, "code": code}]} if code else {}
    return coding | {"text": text}


def eye(side: Side) -> Concept:
    code, text = _EYES[side]
    return concept(text, SNOMED, code)


def pressure(side: Side) -> Concept:
    code, text = _PRESSURES[side]
    return concept(text, LOINC, code)


def acuity(correction: Correction, side: Side) -> Concept:
    """Own glasses, pinhole and unknown correction have no code of their own: the study, and the words."""
    found = _ACUITIES.get((correction, side))
    if found:
        return concept(found[1], LOINC, found[0])
    return concept(f"Visual acuity, {side.value} eye: {correction.label.lower()}", LOINC, _ANY_ACUITY[0])


def acuity_method(correction: Correction) -> Concept | None:
    return concept(_PINHOLE[1], SNOMED, _PINHOLE[0]) if correction is Correction.PINHOLE else None


def indication(why: Indication) -> Concept:
    if why is Indication.RRD:
        return concept(why.label, ICD_10, _DETACHMENT[0])
    return concept(why.label)


def logmar(value: Any) -> dict[str, Any]:
    """logMAR has no unit in UCUM: an annotation says so."""
    return {"value": value, "unit": "logMAR", "system": UCUM, "code": "{logMAR}"}


def mmhg(value: int) -> dict[str, Any]:
    return {"value": value, "unit": "mmHg", "system": UCUM, "code": "mm[Hg]"}
