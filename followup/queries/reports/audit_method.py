"""How the figures of an audit came about: what was asked, in words, and every definition used."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from followup.domain.outcome import DEFINITIONS
from followup.domain.words import Clock
from followup.queries.cohort_choice import CohortChoice, Errors


@dataclass(frozen=True, slots=True)
class Definition:
    term: str
    text: str


def definitions(choice: CohortChoice, *, site: str, surgeon: str) -> tuple[Definition, ...]:
    """What was asked and how it was counted. `surgeon`: the name asked for, or ""."""
    limits = {
        Errors.EYES: "Greenwood's formula, each eye on its own",
        Errors.PATIENTS: "the infinitesimal jackknife summed by patient, so that two eyes of one person "
        "do not count as two people",
    }[choice.errors]
    clock = "A" if choice.clock is Clock.INDEX else "B"
    asked = [
        Definition("Clinic", site),
        Definition("Cohort", ". ".join(_asked(choice, surgeon)) + "."),
        Definition("Eyes of one patient", f"{choice.unit.label}."),
        Definition("Clock asked for", f"{clock}: {choice.clock.label}."),
        Definition("Event asked for", f"{choice.event.label}."),
        Definition(
            "Data lock",
            f"{_written(choice.lock)}. Nothing dated later is counted; entries corrected since are counted "
            "as corrected.",
        ),
        Definition("Minimum follow-up", "None: every eye counts for as long as it was followed."),
        Definition("Who judged", "The examiner at each visit, as recorded. No one judged again."),
        Definition("Curve", f"Kaplan-Meier. Pointwise 95 % log-log limits from {limits}."),
        Definition(
            "Month",
            "30.4375 days, halves rounded up: 6 months are 183 days, 12 are 365, 24 are 731.",
        ),
        Definition(
            "Completeness",
            "Follow-up seen, as a share of the follow-up there could have been (Clark 2002). The event, a "
            "death, the closing day and the lock date end what there could have been. C* expects of eyes "
            "lost no more time than the curve gives them (Wu 2008).",
        ),
        Definition(
            "Median follow-up", "Reverse Kaplan-Meier (Schemper and Smith 1996): the event ends observation."
        ),
        Definition("Shares", "Exact Clopper-Pearson 95 % intervals, each eye on its own."),
        *_groups(choice),
    ]
    return (*asked, *(Definition(term, text) for term, text in DEFINITIONS.items()))


def _groups(choice: CohortChoice) -> Iterator[Definition]:
    if choice.strata:
        yield Definition(
            "Groups",
            f"By {choice.strata.label.lower()}, at most six; of more, the five largest and all others. "
            "Log-rank test (Mantel 1966), each eye on its own; where patients have eyes in several groups, "
            "also stratified by patient, which compares only the eyes of one person. Of two groups, the "
            "difference at the horizon with the limits asked for.",
        )


def _asked(choice: CohortChoice, surgeon: str) -> Iterator[str]:
    """The cohort in words, question by question."""
    since, until = choice.operated_from, choice.operated_to
    first = f"from {_written(since)}" if since else "from the first operation on record"
    last = f"to {_written(until)}" if until else "to the lock date"
    yield f"Index operation {first} {last}"
    if choice.indications:
        yield "Indication: " + ", ".join(indication.label for indication in choice.indications)
    if choice.procedures:
        yield "Procedures, all of: " + ", ".join(procedure.label for procedure in choice.procedures)
    if choice.tamponade:
        yield f"Tamponade left by the index operation: {choice.tamponade.label}"
    if choice.surgeon:
        yield f"Surgeon: {surgeon}"
    for term in (choice.repeat, choice.buckle):
        if term:
            yield term.label
    if choice.extent:
        yield f"Extent: {choice.extent.label}"
    if choice.only_eye is not None:
        yield "Only eyes with useful sight" if choice.only_eye else "The fellow eye has useful sight"
    if choice.staphyloma:
        yield f"Staphyloma: {choice.staphyloma.label}"
    if choice.axial_length_from is not None:
        yield f"Axial length {choice.axial_length_from} mm or more"
    if choice.axial_length_below is not None:
        yield f"Axial length below {choice.axial_length_below} mm"


def _written(day: date) -> str:
    return f"{day.day} {day:%B %Y}"
