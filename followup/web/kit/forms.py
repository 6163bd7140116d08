"""Forms: services decide, and their refusals stand next to the field they name."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django import forms

from followup.domain.errors import FollowUpError


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


@contextmanager
def refusals_on(form: forms.Form) -> Iterator[None]:
    """Catches a service's refusal and shows it on the form; what was typed stays."""
    try:
        yield
    except FollowUpError as fault:
        form.add_error(fault.field if fault.field in form.fields else None, fault.message)
