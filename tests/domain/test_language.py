"""The language of a message, from what stands in a record."""

from __future__ import annotations

import pytest

from followup.domain.words import Language


@pytest.mark.parametrize(
    ("written", "language"),
    [
        ("ar", Language.ARABIC),
        ("Arabic ", Language.ARABIC),
        ("العربية", Language.ARABIC),
        ("ENGLISH", Language.ENGLISH),
        ("", None),
        ("Turkish", None),
    ],
)
def test_a_language_is_known_by_its_code_or_its_names(written: str, language: Language | None) -> None:
    assert Language.recognised(written) is language
