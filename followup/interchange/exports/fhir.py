"""The records of a clinic as one transaction Bundle of HL7 FHIR R4 (4.0.1).

Each resource carries an identifier and is made only where none has it, so that the same bundle twice makes
nothing twice. References go by urn:uuid within the bundle.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from decimal import Decimal
from typing import Any, TextIO
from urllib.parse import quote, urlencode
from uuid import NAMESPACE_URL, uuid5

from followup.domain.acuity.notation import Category
from followup.domain.dates.zones import localise
from followup.domain.words import (
    Correction,
    DatePrecision,
    Indication,
    Mark,
    Procedure,
    Retina,
    Sex,
    Side,
    Tamponade,
    TamponadeSeen,
    Term,
)
from followup.interchange.exports import fhir_codes as codes
from followup.models import Site
from followup.queries.takeout import tables
from followup.queries.takeout.fields import Table
from followup.queries.takeout.people import Writer, named
from followup.queries.takeout.rows import headings_of, rows_of

Resource = dict[str, Any]
Row = dict[str, Any]


class Bundle:
    """One bundle of one site; `resources` counts what it holds, once it is written. `base`: of addresses."""

    def __init__(self, site: Site, base: str) -> None:
        self._site, self._base = site, base.rstrip("/")
        self._writer: Writer = named()
        self._used: Counter[tuple[str, str]] = Counter()
        self.resources = 0

    def write(self, stream: TextIO) -> None:
        """Entry by entry: of those written only the keys are kept."""
        stream.write('{"resourceType": "Bundle", "type": "transaction", "entry": [')
        for number, entry in enumerate(self.entries()):
            stream.write(",\n" if number else "\n")
            json.dump(entry, stream, ensure_ascii=False, default=_number)
            self.resources += 1
        stream.write("\n]}\n")

    def entries(self) -> Iterator[Resource]:
        for table, make in _MAKERS:
            for row in self._rows(table):
                for key, resource in make(self, row):
                    yield self._entry(key, resource)
        yield from (self._entry(key, plan) for key, plan in self._plans())

    def _rows(self, table: Table) -> Iterator[Row]:
        headings = headings_of(table, self._writer)
        for row in rows_of(table, self._site, self._writer):
            yield dict(zip(headings, row, strict=True))

    def _entry(self, key: str, resource: Resource) -> Resource:
        kind = resource["resourceType"]
        self._used[kind, key] += 1
        if (times := self._used[kind, key]) > 1:
            key = f"{key} {times}"
        system = f"{self._base}/fhir/{kind.lower()}"
        identifier = {"system": system, "value": key}
        wanted = urlencode({"identifier": f"{system}|{key}"}, quote_via=quote)
        request = {"method": "POST", "url": kind, "ifNoneExist": wanted}
        named_so = {"resourceType": kind, "identifier": [identifier], **resource}
        return {"fullUrl": self._urn(kind, key), "resource": named_so, "request": request}

    def _urn(self, kind: str, key: str) -> str:
        return f"urn:uuid:{uuid5(NAMESPACE_URL, f'{self._base}/{self._site.pk}/{kind}/{key}')}"

    def subject(self, row: Row) -> Resource:
        return {"reference": self._urn("Patient", row["record_number"])}

    def instant(self, day: date, wall: Any) -> Any:
        return localise(day, wall, self._site.time_zone)

    def _plans(self) -> Iterator[tuple[str, Resource]]:
        """A care plan a course: the reviews and the removal of one eye, from one operation."""
        course: list[Row] = []
        for row in self._rows(tables.MILESTONES):
            if course and _course_of(course[0]) != _course_of(row):
                yield _plan(self, course)
                course = []
            course.append(row)
        if course:
            yield _plan(self, course)


def _number(value: Any) -> Any:
    if isinstance(value, Decimal):
        return float(value)
    raise TypeError(f"{value!r} has no place in JSON.")


def _patient(bundle: Bundle, row: Row) -> Iterator[tuple[str, Resource]]:
    names = {"family": row["family_name"], "given": [row["given_name"]] if row["given_name"] else []}
    ways = [{"system": name, "value": row[name]} for name in ("phone", "email") if row[name]]
    yield (
        row["record_number"],
        _filled(
            resourceType="Patient",
            name=[_filled(**names)] if row["family_name"] or row["given_name"] else [],
            telecom=ways,
            gender=Sex(row["sex"]).value,
            birthDate=_day(row["birth_date"]),
            deceasedDateTime=_day(row["died_on"]),
            address=[{"text": row["postal_address"]}] if row["postal_address"] else [],
        ),
    )


def _operation(bundle: Bundle, row: Row) -> Iterator[tuple[str, Resource]]:
    side = Side(row["side"])
    done = [Procedure(code).label for code in row["procedures"].split("; ") if code]
    left = Tamponade(row["tamponade_in"])
    notes = [row["operation_note"], "The tamponade that was in was taken out." if row["takes_out"] else ""]
    yield (
        _key(row, "operation_date"),
        _filled(
            resourceType="Procedure",
            status="completed",
            subject=bundle.subject(row),
            code=codes.concept(", ".join(done) or "Operation on the eye"),
            performedDateTime=_as_known(row["operation_date"], DatePrecision(row["date_precision"])),
            bodySite=[codes.eye(side)],
            reasonCode=[codes.indication(Indication(row["indication"]))],
            performer=[{"actor": {"display": row["surgeon_name"]}}] if row["surgeon_name"] else [],
            usedCode=[] if left in (Tamponade.NONE, Tamponade.UNKNOWN) else [codes.concept(left.label)],
            note=[{"text": text} for text in notes if text],
        ),
    )


def _exam(bundle: Bundle, row: Row) -> Iterator[tuple[str, Resource]]:
    side = Side(row["side"])
    if row["pressure"] not in (None, ""):
        value = row["pressure"]
        said = {"valueQuantity": codes.mmhg(value)} if isinstance(value, int) else {"valueString": value}
        yield _observation(bundle, row, "pressure", codes.pressure(side), said)
    for name, terms, unseen in (
        ("retina", Retina, Retina.NOT_EXAMINED),
        ("tamponade_seen", TamponadeSeen, TamponadeSeen.NOT_EXAMINED),
    ):
        found: Term = terms(row[name])
        if found is not unseen:
            words = codes.concept({"retina": "Retina", "tamponade_seen": "Tamponade seen"}[name])
            said = {"valueCodeableConcept": codes.concept(found.label)}
            yield _observation(bundle, row, name, words, said)


def _reading(bundle: Bundle, row: Row) -> Iterator[tuple[str, Resource]]:
    correction = Correction(row["correction"])
    said: Resource = {"method": codes.acuity_method(correction)}
    if row["logmar"] is None:
        words = Category(row["category"]).value.replace("_", " ")
        said["valueCodeableConcept"] = codes.concept(words.capitalize())
    else:
        said["valueQuantity"] = codes.logmar(row["logmar"])
    exactly = "; the number is approximate" if row["approximate"] else ""
    said["note"] = [{"text": f"As written: {row['acuity']}{exactly}"}]
    yield _observation(bundle, row, f"acuity {correction}", codes.acuity(correction, Side(row["side"])), said)


def _observation(
    bundle: Bundle, row: Row, what: str, code: codes.Concept, said: Resource
) -> tuple[str, Resource]:
    resource = _filled(
        resourceType="Observation",
        status="final",
        code=code,
        subject=bundle.subject(row),
        effectiveDateTime=_day(row["visit_date"]),
        bodySite=codes.eye(Side(row["side"])),
        **said,
    )
    return f"{_key(row, 'visit_date')} {what}", resource


def _appointment(bundle: Bundle, row: Row) -> Iterator[tuple[str, Resource]]:
    starts = bundle.instant(row["day"], row["time"])
    yield (
        str(row["uid"]),
        _filled(
            resourceType="Appointment",
            status=row["state"],
            description="Theatre" if row["session_kind"] == "theatre" else "Review",
            start=starts.isoformat(),
            end=(starts + timedelta(minutes=row["minutes"])).isoformat(),
            minutesDuration=row["minutes"],
            cancelationReason=codes.concept(row["reason"])
            if row["state"] == "cancelled" and row["reason"]
            else None,
            participant=[{"actor": bundle.subject(row), "status": "accepted"}],
        ),
    )


def _course_of(row: Row) -> tuple[Any, ...]:
    return row["record_number"], row["side"], row["anchor"], row["pathway"], row["pathway_version"]


_MARKED = {
    Mark.MET: "completed",
    Mark.MET_LATE: "completed",
    Mark.SIGNED: "completed",
    Mark.SUPERSEDED: "cancelled",
    Mark.OPEN: "not-started",
}


def _plan(bundle: Bundle, course: list[Row]) -> tuple[str, Resource]:
    first = course[0]
    key = f"{first['record_number']} {first['side']} {first['anchor']} {first['pathway']}"
    plan = _filled(
        resourceType="CarePlan",
        status="revoked" if first["superseded_on"] else "active",
        intent="plan",
        title=f"{first['pathway']}, version {first['pathway_version']}, {first['side']} eye",
        subject=bundle.subject(first),
        period=_filled(start=_day(first["anchor"]), end=_day(first["superseded_on"])),
        activity=[{"detail": _activity(row)} for row in course],
    )
    return key, plan


def _activity(row: Row) -> Resource:
    lane = "Removal of tamponade" if row["lane"] == "removal" else "Review"
    return {
        "status": _MARKED[Mark(row["mark"])],
        "code": codes.concept(f"{lane} {row['milestone']}"),
        "scheduledPeriod": {"start": _day(row["opens"]), "end": _day(row["closes"])},
        "description": f"Aimed at {row['target']}" + (f"; met on {row['met_on']}" if row["met_on"] else ""),
    }


def _key(row: Row, *names: str) -> str:
    return " ".join(str(row[name]) for name in ("record_number", "side", *names))


def _day(day: date | None) -> str | None:
    return day.isoformat() if day else None


def _as_known(day: date, precision: DatePrecision) -> str | None:
    """A date no more exact than it is known; None for one that only stands in."""
    if precision is DatePrecision.NOMINAL:
        return None
    return {DatePrecision.YEAR: f"{day:%Y}", DatePrecision.MONTH: f"{day:%Y-%m}"}.get(
        precision, day.isoformat()
    )


def _filled(**parts: Any) -> Resource:
    """Without what is empty, as the standard wants it."""
    return {name: part for name, part in parts.items() if part not in (None, "", [], {})}


_Maker = Callable[[Bundle, Row], Iterator[tuple[str, Resource]]]
_MAKERS: tuple[tuple[Table, _Maker], ...] = (
    (tables.PATIENTS, _patient),
    (tables.OPERATIONS, _operation),
    (tables.EXAMS, _exam),
    (tables.ACUITY, _reading),
    (tables.APPOINTMENTS, _appointment),
)
