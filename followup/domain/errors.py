"""The faults a person can act on.

Every floor raises these; a page shows `message` as it stands, next to `field` when one is named.
"""

from __future__ import annotations


class FollowUpError(Exception):
    """A refusal with a sentence fit to show.

    code: short stable word for tests and logs; message: what was found, where, and what to do;
    field: the form field or column it belongs to, or "".
    """

    code = "refused"

    def __init__(self, message: str, *, field: str = "", code: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.field = field
        if code:
            self.code = code


class Refused(FollowUpError):
    """The facts do not allow this action."""


class BadValue(FollowUpError):
    """A value that cannot be read as what it should be."""

    code = "bad_value"


class NotAllowed(FollowUpError):
    """This person's role may not do this."""

    code = "not_allowed"
