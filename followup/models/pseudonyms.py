"""What stands for people where nobody is to be named: drawn at random, kept, and never made anew."""

from __future__ import annotations

import uuid

from django.db import models


class Pseudonymous(models.Model):
    """A record whose code, and whose days where dates are moved, come from chance alone."""

    pseudonym = models.UUIDField(
        default=uuid.uuid4,
        unique=True,
        editable=False,
        help_text="Drawn at random; stands for the record where nobody is named.",
    )

    class Meta:
        abstract = True


class TypedSurgeon(Pseudonymous):
    """A surgeon without a sign-in, known by the name that was typed beside an operation."""

    name = models.CharField(max_length=80, unique=True)

    def __str__(self) -> str:
        return self.name
