"""Answers to invitations as they come in a file."""

from __future__ import annotations

from contextlib import suppress
from datetime import UTC, datetime
from email.message import EmailMessage

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.domain.errors import BadValue
from followup.domain.words import Reply
from followup.interchange.feeds.reply import CalendarReply, read_reply
from tests.interchange.feeds.calendars import calendar

UID = "0d4f8c1e-5a55-4a3e-9c54-2d9f7ef0a001"


def reply(*, method: str = "METHOD:REPLY", drop: str = "", **changes: str) -> bytes:
    lines = {
        "UID": f"UID:{UID}",
        "DTSTAMP": "DTSTAMP:20260303T080000Z",
        "SEQUENCE": "SEQUENCE:2",
        "ATTENDEE": "ATTENDEE;PARTSTAT=DECLINED;CN=Given:mailto:person@home.example",
    } | changes
    lines.pop(drop, None)
    return calendar(method, "BEGIN:VEVENT", *lines.values(), "END:VEVENT")


def test_an_answer_is_read() -> None:
    assert read_reply(reply()) == CalendarReply(
        UID, 2, datetime(2026, 3, 3, 8, 0, tzinfo=UTC), "person@home.example", Reply.DECLINED
    )


@pytest.mark.parametrize(
    ("line", "answer"),
    [
        ("ATTENDEE;PARTSTAT=ACCEPTED:mailto:a@home.example", Reply.ACCEPTED),
        ("attendee;partstat=accepted:MAILTO:a@home.example", Reply.ACCEPTED),
        ('ATTENDEE;CN="A: B";PARTSTAT=TENTATIVE:mailto:a@home.example', Reply.TENTATIVE),
    ],
)
def test_the_ways_to_write_an_answer(line: str, answer: Reply) -> None:
    found = read_reply(reply(ATTENDEE=line))
    assert (found.attendee, found.answer) == ("a@home.example", answer)


def test_no_sequence_means_the_first() -> None:
    assert read_reply(reply(drop="SEQUENCE")).sequence == 0


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (reply(method="METHOD:REQUEST"), 'This is no reply: METHOD is "REQUEST", not REPLY.'),
        (reply(method="X-A:b"), 'This is no reply: METHOD is "not given", not REPLY.'),
        (calendar("METHOD:REPLY"), "A reply answers one invitation; this file holds 0."),
        (reply(drop="ATTENDEE"), "A reply is of one person; this one names 0 attendees."),
        (reply(ATTENDEE="ATTENDEE:mailto:a@b.example"),
         'Line 9: PARTSTAT is "not given". An answer is one of ACCEPTED, TENTATIVE, DECLINED.'),
        (reply(ATTENDEE="ATTENDEE;PARTSTAT=DELEGATED:mailto:a@b.example"),
         'Line 9: PARTSTAT is "DELEGATED". An answer is one of ACCEPTED, TENTATIVE, DECLINED.'),
        (reply(ATTENDEE="ATTENDEE;PARTSTAT=ACCEPTED:tel:1"), 'Line 9: "tel:1" is no mail address.'),
        (reply(drop="UID"), "Line 5: UID is needed once; it stands 0 times."),
        (reply(drop="DTSTAMP"), "Line 5: DTSTAMP is needed once; it stands 0 times."),
        (reply(DTSTAMP="DTSTAMP:20260303"),
         'DTSTAMP "20260303" is no time in UTC, such as 20250610T060000Z.'),
        (reply(SEQUENCE="SEQUENCE:-1"), 'SEQUENCE "-1" is no whole number.'),
        (reply().partition(b"END:VEVENT")[0], "Line 1: \"VCALENDAR\": has no END: the file is cut off."),
    ],
)  # fmt: skip
def test_what_is_no_answer_is_refused(data: bytes, message: str) -> None:
    with pytest.raises(BadValue) as fault:
        read_reply(data)
    assert fault.value.message == message


def mail(content: bytes) -> bytes:
    """As a mail program sends an answer: text, and the calendar beside it."""
    sent = EmailMessage()
    sent["From"], sent["Subject"] = "person@home.example", "Declined: Eye clinic visit"
    sent.set_content("Declined.")
    sent.add_alternative(content.decode(), subtype="calendar", params={"method": "REPLY"}, cte="base64")
    return sent.as_bytes()


def test_an_answer_is_read_from_the_whole_mail() -> None:
    assert read_reply(mail(reply())) == read_reply(reply())


@given(st.integers(0, 700), st.binary(min_size=1, max_size=6), st.integers(0, 12))
def test_whatever_was_done_to_a_mail_it_is_an_answer_or_told_why_not(at: int, put: bytes, drop: int) -> None:
    whole = mail(reply())
    with suppress(BadValue):
        assert read_reply(whole[:at] + put + whole[at + drop :]).answer in Reply
