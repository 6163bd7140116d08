"""Forms: services decide, and their refusals stand next to the field they name."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Protocol

from django import forms

from followup.domain.errors import FollowUpError


class TakesRefusals(Protocol):
    """A form, or several shown as one, that can show why a service refused."""

    def add_refusal(self, fault: FollowUpError) -> None: ...


class Form(forms.Form):
    """A form whose boxes a service judges; what was typed stays when it refuses."""

    use_required_attribute = False
    """The browser's own bubbles vanish after a moment; our words stay beside the field."""

    def add_refusal(self, fault: FollowUpError) -> None:
        self.add_error(fault.field if fault.field in self.fields else None, fault.message)


class DateInput(forms.DateInput):
    """The browser's own date picker; it always sends and takes ISO dates, whatever it shows."""

    input_type = "date"

    def __init__(self, **options: Any) -> None:
        super().__init__(format="%Y-%m-%d", **options)


class TimeInput(forms.TimeInput):
    input_type = "time"

    def __init__(self, **options: Any) -> None:
        super().__init__(format="%H:%M", **options)


def date_field(**options: Any) -> forms.DateField:
    return forms.DateField(widget=DateInput(), **options)


def time_field(**options: Any) -> forms.TimeField:
    return forms.TimeField(widget=TimeInput(), **options)


def choice_field(choices: list[tuple[str, str]], default: str, **options: Any) -> forms.TypedChoiceField:
    """A choice that has an honest default: a box that did not arrive means the default, not a fault."""
    return forms.TypedChoiceField(
        choices=choices, initial=default, required=False, empty_value=default, **options
    )


class ReasonForm(Form):
    """Why: kept for ever beside what was done."""

    reason = forms.CharField(max_length=200, label="Why")


@contextmanager
def refusals_on(form: TakesRefusals) -> Iterator[None]:
    """Catches a service's refusal and shows it on the form."""
    try:
        yield
    except FollowUpError as fault:
        form.add_refusal(fault)
