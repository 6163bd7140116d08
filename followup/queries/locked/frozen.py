"""A cohort as bytes that never change, and back: the same cohort gives the same bytes on every machine.

The bytes are JSON with sorted keys, without spaces, in ASCII: {"cohort": ..., "form": 1}. Days are ISO 8601,
decimals text, other numbers the shortest that read back to the last bit, sets in the order of their codes.
Their digest is SHA-256. What was frozen must be read for ever: a field added to a row needs a default, and a
form that cannot be read so needs a number and a reader of its own.
"""

from __future__ import annotations

import hashlib
import json
import zlib
from typing import Any

from pydantic import TypeAdapter

from followup.domain.errors import Refused
from followup.models import LockedAudit
from followup.queries.cohorts import Cohort

FORM = 1
_COHORT: TypeAdapter[Cohort] = TypeAdapter(Cohort)


class OtherForm(ValueError):
    """Untouched, but written by a program whose rows this one cannot read."""


def freeze(cohort: Cohort) -> bytes:
    told = _COHORT.dump_python(cohort, mode="json")
    for row in (*told["rows"], *told["from_index"]):
        row["procedures"] = sorted(row["procedures"])
    return canonical({"form": FORM, "cohort": told})


def thaw(frozen: bytes) -> Cohort:
    """Raises OtherForm for bytes that are no cohort of this program."""
    try:
        told = json.loads(frozen)
        if told["form"] == FORM:
            return _COHORT.validate_python(told["cohort"])
    except (KeyError, TypeError, ValueError) as fault:
        raise OtherForm from fault
    raise OtherForm


def canonical(told: Any) -> bytes:
    return json.dumps(told, sort_keys=True, separators=(",", ":"), allow_nan=False).encode("ascii")


def digest_of(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def digest_of_figures(audit: LockedAudit) -> str:
    """Of all that was shown: the figures, how they were defined, and down to how many eyes the curve goes."""
    shown = {
        "figures": audit.figures,
        "definitions": audit.definitions,
        "minimum_at_risk": audit.minimum_at_risk,
    }
    return digest_of(canonical(shown))


def packed(content: bytes) -> bytes:
    return zlib.compress(content, 9)


def cohort_of(audit: LockedAudit) -> Cohort:
    """The rows as they were locked.

    Refused, so that nobody relies on them, if a byte of them or of the figures was changed. Raises OtherForm
    for rows that nobody touched and this program cannot read.
    """
    try:
        content = zlib.decompress(bytes(audit.frozen))
    except zlib.error:
        raise _changed(audit) from None
    if digest_of(content) != audit.rows_digest or digest_of_figures(audit) != audit.figures_digest:
        raise _changed(audit)
    cohort = thaw(content)
    choice = cohort.choice
    told = (audit.site_id, audit.lock, audit.address, audit.eyes)
    if told != (choice.site_id, choice.lock, choice.query, len(cohort.rows)):
        raise _changed(audit)
    return cohort


def _changed(audit: LockedAudit) -> Refused:
    return Refused(
        f'What is stored of the locked audit "{audit.title}" is not what was locked: its digest differs. '
        "Do not use its figures; tell the person who runs this service, and restore the row from a backup.",
        code="digest_differs",
    )
