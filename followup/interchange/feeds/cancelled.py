"""Cancellations that do not say when the entry was, as RFC 5546, 3.2.5 allows."""

from __future__ import annotations

from dataclasses import replace

from followup.interchange.feeds.lines import Block

_WHEN = ("DTSTART", "DTEND", "DURATION", "RRULE", "RDATE", "EXDATE")


def lend_starts(calendar: Block) -> None:
    """Gives each cancellation without a start that of the entry it cancels, if the calendar holds it.

    One of a single repetition is at the time of that repetition.
    """
    events = [block for block in calendar.blocks if block.name == "VEVENT"]
    lenders = {_identity(block): block for block in reversed(events) if block.first("DTSTART")}
    for block in events:
        if block.first("DTSTART") is not None or not _cancels(block, calendar):
            continue
        which, lender = block.first("RECURRENCE-ID"), lenders.get(_identity(block))
        if lender is not None:
            block.properties += [found for found in lender.properties if found.name in _WHEN]
        elif which is not None:
            block.properties.append(replace(which, name="DTSTART"))


def _cancels(block: Block, calendar: Block) -> bool:
    method = block.text("METHOD") or calendar.text("METHOD")
    return method.upper() == "CANCEL" or block.text("STATUS").upper() == "CANCELLED"


def _identity(block: Block) -> tuple[str, str]:
    which = block.first("RECURRENCE-ID")
    return block.text("UID"), which.raw if which else ""
