"""Kills the process that sends, with SIGKILL, at a chosen step of sending a message."""

from __future__ import annotations

import os
import signal
import smtplib
from collections.abc import Callable
from typing import Any

from followup.interchange.messages import send
from followup.services import outbox

Spoil = Callable[[Callable[[], None]], None]
"""Puts a call that may kill at one step; the call is given."""


def _after(owner: Any, name: str) -> Spoil:
    """The step is done, and nothing after it."""

    def spoil(die: Callable[[], None]) -> None:
        real = getattr(owner, name)

        def wrapped(*args: Any, **kwargs: Any) -> Any:
            result = real(*args, **kwargs)
            if result is not None:
                die()
            return result

        setattr(owner, name, wrapped)

    return spoil


def _before(owner: Any, name: str) -> Spoil:
    def spoil(die: Callable[[], None]) -> None:
        real = getattr(owner, name)

        def wrapped(*args: Any, **kwargs: Any) -> Any:
            die()
            return real(*args, **kwargs)

        setattr(owner, name, wrapped)

    return spoil


def _in_the_text(share: float) -> Spoil:
    """So much of the text is on its way, and no answer to it was read."""

    def spoil(die: Callable[[], None]) -> None:
        real = smtplib.SMTP.send

        def wrapped(self: smtplib.SMTP, text: Any) -> None:
            is_text = isinstance(text, bytes) and text.endswith(b"\r\n.\r\n")
            if not is_text:
                return real(self, text)
            real(self, text[: int(len(text) * share)])
            die()
            return real(self, text[int(len(text) * share) :])

        smtplib.SMTP.send = wrapped  # type: ignore[method-assign]  # the fault to be tried

    return spoil


STEPS: dict[str, Spoil] = {
    "claimed": _after(outbox, "claim_next"),
    "facts read again": _after(send, "reason_to_withhold"),
    "connected": _after(smtplib.SMTP, "connect"),
    "sender named": _after(smtplib.SMTP, "mail"),
    "recipient named": _after(smtplib.SMTP, "rcpt"),
    "half the text sent": _in_the_text(0.5),
    "all the text sent": _in_the_text(1.0),
    "answer read": _after(smtplib.SMTP, "data"),
    "before it is noted": _before(outbox, "mark_sent"),
    "noted": _after(outbox, "mark_sent"),
}


def die_at(step: str, *, nth: int) -> None:
    """From now on this process dies when it comes to this step for the nth time."""
    times = 0

    def die() -> None:
        nonlocal times
        times += 1
        if times == nth:
            os.kill(os.getpid(), signal.SIGKILL)

    STEPS[step](die)
