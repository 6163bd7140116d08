"""A cohort as bytes that never change, and back: the same cohort gives the same bytes on every machine.

The bytes are JSON with sorted keys, without spaces, in ASCII; numbers are written so that they read back to
the last bit, sets in the order of their codes. Their digest is SHA-256.
"""

from __future__ import annotations

import hashlib
import json
import zlib
from typing import Any

from pydantic import TypeAdapter, ValidationError

from followup.domain.errors import Refused
from followup.models import LockedAudit
from followup.queries.cohorts import Cohort

_COHORT: TypeAdapter[Cohort] = TypeAdapter(Cohort)


def freeze(cohort: Cohort) -> bytes:
    told = _COHORT.dump_python(cohort, mode="json")
    for row in (*told["rows"], *told["from_index"]):
        row["procedures"] = sorted(row["procedures"])
    return canonical(told)


def thaw(frozen: bytes) -> Cohort:
    """Raises ValidationError for bytes that are no cohort of this program."""
    return _COHORT.validate_json(frozen)


def canonical(told: Any) -> bytes:
    return json.dumps(told, sort_keys=True, separators=(",", ":")).encode("ascii")


def digest_of(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def packed(content: bytes) -> bytes:
    return zlib.compress(content, 9)


def cohort_of(audit: LockedAudit) -> Cohort:
    """The rows as they were locked. Refused, so that nobody relies on them, if a single byte was changed."""
    try:
        content = zlib.decompress(bytes(audit.frozen))
        if digest_of(content) == audit.rows_digest:
            return thaw(content)
    except (zlib.error, ValidationError):
        pass
    raise Refused(
        f'The rows of the locked audit "{audit.title}" are not those that were locked: their digest differs. '
        "Do not use its figures; tell the person who runs this service, and restore the row from a backup.",
        code="digest_differs",
    )
