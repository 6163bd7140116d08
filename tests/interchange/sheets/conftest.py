"""A site with the shipped pathways, as every installation has them."""

from __future__ import annotations

import pytest

from followup.models import PathwayVersion, Site
from tests import builders


@pytest.fixture
def site(pathways: list[PathwayVersion]) -> Site:
    return builders.make_site(bare_acuity="")
