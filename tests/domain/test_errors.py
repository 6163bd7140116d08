"""What a refusal carries: a sentence, the field it belongs to, a stable word."""

from __future__ import annotations

from followup.domain.errors import BadValue, FollowUpError, NotAllowed, Refused


def test_a_refusal_carries_its_sentence_its_field_and_its_word() -> None:
    fault = BadValue("No such day.", field="day", code="no_day")
    assert (str(fault), fault.message, fault.field, fault.code) == ("No such day.",) * 2 + ("day", "no_day")


def test_a_refusal_without_a_field_belongs_to_none_and_has_the_word_of_its_kind() -> None:
    kinds = {kind: kind("No.") for kind in (FollowUpError, Refused, BadValue, NotAllowed)}
    assert [fault.field for fault in kinds.values()] == [""] * 4
    assert [fault.code for fault in kinds.values()] == ["refused", "refused", "bad_value", "not_allowed"]
