"""A column map is checked as a whole before any row is read."""

from __future__ import annotations

from typing import Any

import pytest

from followup.domain.errors import BadValue
from followup.interchange.sheets.column_map import accepted_map, stored_map

NUMBER = {"column": "no", "target": "record_number"}
SEEN = {"column": "seen", "target": "visit_date"}


def a_map(*columns: dict[str, Any], shape: str = "visits", **more: Any) -> dict[str, Any]:
    return {"shape": shape, "columns": [NUMBER, *columns], **more}


@pytest.mark.parametrize(
    ("definition", "message"),
    [
        ({"shape": "visits", "columns": [SEEN]}, "No column is the record number"),
        (a_map(), "needs a column with the day"),
        (a_map(SEEN, {"column": "x", "target": "shoe size"}), 'no import column "shoe size"'),
        (a_map(SEEN, {"column": "x", "target": "side", "at": "P1M"}), '"at" belongs to findings'),
        (
            a_map(SEEN, {"column": "x", "target": "acuity", "at": "P1M"}),
            '"at" belongs to files with a column a',
        ),
        (a_map({"column": "x", "target": "acuity"}, shape="timepoints"), "says when each was"),
        (a_map({"column": "x", "target": "acuity", "at": "month 1"}, shape="timepoints"), "not a duration"),
        (a_map({"column": "x", "target": "acuity"}, shape="operations"), "belongs to a visit"),
        (a_map(SEEN, {"column": "seen 2", "target": "visit_date"}), "2 columns are visit_date"),
        (a_map(SEEN, constants={"retina": "attached"}), "cannot be stated for the whole file"),
        (a_map(SEEN, colour="red"), "colour"),
        ([], "valid dictionary"),
    ],
)
def test_a_map_that_does_not_hang_together_is_refused(definition: object, message: str) -> None:
    with pytest.raises(BadValue) as refusal:
        accepted_map(definition)
    assert message in refusal.value.message
    assert refusal.value.field == "map"


def test_a_map_reads_back_as_it_was_stored() -> None:
    column_map = accepted_map(a_map(SEEN, constants={"indication": "rrd"}, ignored=["x"]))
    assert accepted_map(stored_map(column_map)) == column_map
