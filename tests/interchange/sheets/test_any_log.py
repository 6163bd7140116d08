"""Whatever a log holds, its counts add up and a second import changes nothing."""

from __future__ import annotations

from collections import Counter

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from followup.models import PathwayVersion
from followup.services.pathway import verify
from tests import builders
from tests.interchange.sheets.helpers import log, outcomes, take_in

pytestmark = pytest.mark.django_db

CELLS = (
    st.sampled_from(["1", "2", "02", "", "O3"]),
    st.sampled_from(["", "1950-01-01", "2025-06-01"]),
    st.sampled_from(["R", "L", "both", "?", ""]),
    st.sampled_from(["2024-01-10", "2024-06-01", "2025-01-10", "2030-01-01", "2024-13-01", ""]),
    st.sampled_from(["vitrectomy", "oil_removal", "scleral_buckle; cryotherapy", "magic", ""]),
    st.sampled_from(["oil", "sf6", "none", "unknown", "NA", ""]),
    st.sampled_from(["2024-02-01", "2024-07-01", "2025-02-01", "2031-01-01", ""]),
    st.sampled_from(["6/9", "6/60", "HM", "0.5", "1.0", "nil", ""]),
    st.sampled_from(["14", "30", "soft", "0", ""]),
)
ROWS = st.lists(st.tuples(*CELLS).map(",".join), min_size=1, max_size=8)


@settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)  # Each example has a site of its own.
@given(rows=ROWS)
def test_counts_add_up_and_a_second_time_all_is_the_same(
    pathways: list[PathwayVersion], rows: list[str]
) -> None:
    site = builders.make_site(bare_acuity="decimal")
    first = take_in(site, log(*rows))
    counts = first.counts
    assert counts["read"] == counts["accepted"] + counts["human"] + counts["refused"] + counts["ignored"]
    assert Counter(outcomes(first))["new"] == counts["new"]
    second = take_in(site, log(*rows))
    left_out = ("human", "refused", "ignored")
    assert outcomes(second) == [one if one in left_out else "same" for one in outcomes(first)]
    eyes = [eye.pk for patient in site.patients.all() for eye in patient.eyes.all()]
    assert list(verify(eye_ids=eyes)) == []
