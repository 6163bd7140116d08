"""What mail servers say of e-mails that they could not deliver (RFC 3464): which of ours, and why."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from email import policy
from email.message import EmailMessage, Message
from email.parser import BytesParser

from followup.domain.errors import BadValue, Refused
from followup.domain.words import Channel
from followup.interchange.messages.send import message_id
from followup.models import OutboxMessage
from followup.services.outbox import return_message

LARGEST = 1_000_000
"""Bytes of a report that is read at all."""

LOOKED_BACK = timedelta(days=60)
"""Servers give up after days; a report on an older message is not looked for."""

_ORIGINAL = ("message/rfc822", "text/rfc822-headers", "message/global", "message/global-headers")


@dataclass(frozen=True, slots=True)
class DeliveryReport:
    """message_id: of the message reported on; action: failed, delayed, delivered, relayed or expanded."""

    message_id: str
    action: str
    recipient: str
    problem: str


def read_report(content: bytes) -> DeliveryReport:
    """The report in a mail as a mail server sends it. Raises BadValue for anything else: what it lacks."""
    if len(content) > LARGEST:
        raise BadValue(f"The report is larger than {LARGEST:,} bytes, so it was not read.", field="file")
    mail = BytesParser(policy=policy.default).parsebytes(content)
    fields = _fields(mail)
    original = _original_id(mail)
    if not original:
        raise BadValue(
            "The report does not name the Message-ID of the message it is about. Look at it by hand.",
            field="file",
        )
    return DeliveryReport(
        message_id=original,
        action=fields.get("action", "").strip().casefold(),
        recipient=_after_type(fields.get("final-recipient", "")),
        problem=" ".join(
            (_after_type(fields.get("diagnostic-code", "")) or fields.get("status", "")).split()
        ),
    )


def take_report(*, report: DeliveryReport, now: datetime) -> tuple[OutboxMessage, bool]:
    """Brings the person whose message failed back to the recall list; says whether this was new.

    Raises Refused for a message that is none of ours, and for a report that is no failure.
    """
    if report.action != "failed":
        raise Refused(
            f'The report says "{report.action}", not that the message failed. Nothing was changed.',
            code="not_failed",
        )
    message = _message_of(report.message_id, now)
    problem = f"{report.recipient}: {report.problem}".strip(": ")
    return message, return_message(message=message, now=now, problem=problem)


def _message_of(wanted: str, now: datetime) -> OutboxMessage:
    sent = OutboxMessage.objects.filter(channel=Channel.EMAIL.value, sent_at__gte=now - LOOKED_BACK)
    for message in sent.order_by("-id").iterator():
        if message_id(message).partition("@")[0] == wanted.partition("@")[0]:
            return message
    raise Refused(
        f"{wanted[:120]} is the Message-ID of no e-mail that was sent from here in the last "
        f"{LOOKED_BACK.days} days.",
        code="unknown_message",
    )


def _fields(mail: EmailMessage) -> dict[str, str]:
    """The fields of the first recipient that failed, else of the first recipient."""
    recipients = [
        {name.casefold(): str(value) for name, value in block.items()}
        for part in mail.walk()
        if part.get_content_type() in ("message/delivery-status", "message/global-delivery-status")
        for block in _blocks(part)
        if "action" in block
    ]
    if not recipients:
        raise BadValue(
            "This is no delivery report (RFC 3464): it has no part of the type message/delivery-status. "
            "Save the whole mail that the mail server sent, not its text.",
            field="file",
        )
    failed = [one for one in recipients if one["action"].strip().casefold() == "failed"]
    return (failed or recipients)[0]


def _blocks(part: Message) -> Iterator[Message]:
    payload = part.get_payload()
    yield from (block for block in payload if isinstance(block, Message)) if isinstance(payload, list) else ()


def _original_id(mail: EmailMessage) -> str:
    """The Message-ID that stands in the returned message, or in its headers alone."""
    for part in mail.walk():
        if part.get_content_type() not in _ORIGINAL:
            continue
        payload = part.get_payload()
        headers = payload[0] if isinstance(payload, list) else BytesParser().parsebytes(_bytes(part))
        if isinstance(headers, Message) and headers["Message-ID"]:
            return str(headers["Message-ID"]).strip()
    return ""


def _bytes(part: Message) -> bytes:
    content = part.get_payload(decode=True)
    return content if isinstance(content, bytes) else b""


def _after_type(value: str) -> str:
    """`rfc822; a@b.example` is `a@b.example`."""
    return value.partition(";")[2].strip() if ";" in value else value.strip()
