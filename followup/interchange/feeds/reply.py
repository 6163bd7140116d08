"""What an invited person's calendar answers (RFC 5546, 3.2.3)."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from email import policy
from email.parser import BytesParser

from icalendar.prop import vDDDTypes

from followup.domain.errors import BadValue
from followup.domain.words import Reply
from followup.interchange.feeds.lines import MOST_BYTES, Block, read_blocks

_ANSWERS = {
    "ACCEPTED": Reply.ACCEPTED,
    "TENTATIVE": Reply.TENTATIVE,
    "DECLINED": Reply.DECLINED,
}
_MAILTO = "mailto:"
_HEADER = re.compile(rb"[!-9;-~]+:")
"""How a mail begins: with the name of a field (RFC 5322, section 2.2)."""


@dataclass(frozen=True, slots=True)
class CalendarReply:
    """uid, sequence: of the invitation answered; stamp: when it was answered; attendee: by whom."""

    uid: str
    sequence: int
    stamp: datetime
    attendee: str
    answer: Reply


def read_reply(data: bytes) -> CalendarReply:
    """The one answer in a file: a calendar, or the whole mail that carries one (RFC 6047, section 2.4).

    Raises BadValue, naming the line or the property, for what is no calendar, no reply, cut off, or not one
    answer of one person.
    """
    calendars, problems = read_blocks(_calendar_of(data))
    if problems:
        raise BadValue(str(problems[0]))
    events = [block for calendar in calendars for block in calendar.blocks if block.name == "VEVENT"]
    method = calendars[0].text("METHOD").upper()
    if method != "REPLY":
        raise BadValue(f'This is no reply: METHOD is "{method or "not given"}", not REPLY.')
    if len(events) != 1:
        raise BadValue(f"A reply answers one invitation; this file holds {len(events)}.")
    return _reply(events[0])


def _calendar_of(data: bytes) -> bytes:
    """The calendar in a mail; a file that is no mail with one, as it is."""
    if len(data) > MOST_BYTES or not _HEADER.match(data) or data.lstrip()[:6].upper() == b"BEGIN:":
        return data
    for part in BytesParser(policy=policy.default).parsebytes(data).walk():
        if part.get_content_type() in ("text/calendar", "application/ics"):
            content = part.get_payload(decode=True)
            return content if isinstance(content, bytes) else b""
    raise BadValue(
        "This mail carries no calendar, so it is no answer to an invitation. Nothing was changed.",
        field="file",
    )


def _reply(event: Block) -> CalendarReply:
    attendees = event.all("ATTENDEE")
    if len(attendees) != 1:
        raise BadValue(f"A reply is of one person; this one names {len(attendees)} attendees.")
    attendee = attendees[0]
    answer = _ANSWERS.get(attendee.params.get("PARTSTAT", "").upper())
    if answer is None:
        raise BadValue(
            f'Line {attendee.line}: PARTSTAT is "{attendee.params.get("PARTSTAT", "not given")}". '
            f"An answer is one of {', '.join(_ANSWERS)}."
        )
    if not attendee.raw.lower().startswith(_MAILTO):
        raise BadValue(f'Line {attendee.line}: "{attendee.raw}" is no mail address.')
    return CalendarReply(
        uid=_needed(event, "UID"),
        sequence=_sequence(event),
        stamp=_stamp(event),
        attendee=attendee.raw[len(_MAILTO) :],
        answer=answer,
    )


def _needed(event: Block, name: str) -> str:
    found = event.all(name)
    if len(found) != 1 or not found[0].text.strip():
        raise BadValue(f"Line {event.line}: {name} is needed once; it stands {len(found)} times.")
    return found[0].text.strip()


def _sequence(event: Block) -> int:
    """RFC 5545, 3.8.7.4: none means 0."""
    text = event.text("SEQUENCE") or "0"
    if not (text.isascii() and text.isdigit()) or len(text) > 9:
        raise BadValue(f'SEQUENCE "{text}" is no whole number.')
    return int(text)


def _stamp(event: Block) -> datetime:
    text = _needed(event, "DTSTAMP")
    try:
        stamp = vDDDTypes.from_ical(text.upper())
    except (ValueError, OverflowError):
        stamp = None
    if not isinstance(stamp, datetime) or stamp.tzinfo is None:
        raise BadValue(f'DTSTAMP "{text}" is no time in UTC, such as 20250610T060000Z.')
    return stamp
