"""Sends one claimed message on its channel, and notes in the outbox what became of it."""

from __future__ import annotations

import hashlib
import logging
import re
import smtplib
from datetime import datetime
from email.utils import parseaddr
from enum import Enum

from django.conf import settings
from django.core.mail import EmailMultiAlternatives

from followup.domain.words import Channel
from followup.interchange.messages.gateway import TextRefused, send_text
from followup.interchange.messages.links import stop_address
from followup.interchange.messages.recheck import quiet_until, reason_to_withhold
from followup.models import OutboxMessage
from followup.services import outbox
from followup.services.outbox import patient_of_key

log = logging.getLogger(__name__)


class Delivery(Enum):
    SENT = "sent"
    WITHHELD = "withheld"
    HELD = "held until the quiet hours end"
    FAILED = "failed"
    PUT_OFF = "put off"
    SERVER_AWAY = "server away"


def send_message(*, message: OutboxMessage, now: datetime) -> Delivery:
    """Send a message claimed by `outbox.claim_next`, unless the facts have changed since it was written."""
    try:
        reason = reason_to_withhold(message=message, now=now)
        if reason:
            outbox.withhold_message(message=message, reason=reason)
            return Delivery.WITHHELD
        until = quiet_until(message=message, now=now)
        if until is not None:
            outbox.hold_message(message=message, until=until)
            return Delivery.HELD
        hand_over(message)
    except Exception as fault:
        return _not_sent(message, fault, now)
    if not outbox.mark_sent(message=message, now=now):
        log.warning("Message %s was sent after its lease had run out; it may arrive twice.", message.key)
    return Delivery.SENT


def hand_over(message: OutboxMessage) -> None:
    """To the mail server or the text gateway; returns when it has taken the message."""
    if message.channel == Channel.TEXT.value:
        send_text(key=stable_key(message), to=message.to, text=message.body)
    else:
        _letter(message).send()


def stable_key(message: OutboxMessage) -> str:
    """32 hex digits, the same for every attempt; they tell nothing of what the message is about."""
    return hashlib.sha256(message.key.encode()).hexdigest()[:32]


def message_id(message: OutboxMessage) -> str:
    """The same for every attempt, so that a mail program can tell a repeat (RFC 5322, section 3.6.4)."""
    domain = parseaddr(settings.DEFAULT_FROM_EMAIL)[1].rpartition("@")[2] or "localhost"
    return f"<{stable_key(message)}@{domain}>"


def _letter(message: OutboxMessage) -> EmailMultiAlternatives:
    # Auto-Submitted (RFC 3834) keeps holiday notices from answering.
    headers = {"Message-ID": message_id(message), "Auto-Submitted": "auto-generated"}
    patient_id = patient_of_key(message.key)
    if patient_id is not None:
        # One press in the mail program stops them (RFC 8058).
        headers["List-Unsubscribe"] = f"<{stop_address(patient_id, Channel.EMAIL)}>"
        headers["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"
    letter = EmailMultiAlternatives(
        subject=message.subject, body=message.body, to=message.to.split(), headers=headers
    )
    if message.calendar:
        letter.attach_alternative(message.calendar, f"text/calendar; method={_method(message)}")
    return letter


def _method(message: OutboxMessage) -> str:
    """The METHOD of the calendar, which the header of its part repeats (RFC 6047, section 2.4)."""
    found = re.search(r"^METHOD:([A-Z]+)\r?$", message.calendar, re.MULTILINE)
    if found is None:
        raise ValueError("The calendar of this invitation names no METHOD.")
    return found[1]


def _not_sent(message: OutboxMessage, fault: Exception, now: datetime) -> Delivery:
    problem = str(fault) if isinstance(fault, TextRefused) else f"{type(fault).__name__}: {fault}"
    log.warning("Message %s was not sent. %s", message.key, problem)
    if _is_final(fault):
        outbox.fail_message(message=message, now=now, problem=problem)
        return Delivery.FAILED
    outbox.put_off_message(message=message, now=now, problem=problem)
    server_spoke = isinstance(fault, smtplib.SMTPRecipientsRefused | smtplib.SMTPDataError)
    return Delivery.PUT_OFF if server_spoke else Delivery.SERVER_AWAY


def _is_final(fault: Exception) -> bool:
    """No attempt will ever succeed: the server refused address or content for good, or they are malformed."""
    match fault:
        case smtplib.SMTPRecipientsRefused():
            return all(code >= 500 for code, _ in fault.recipients.values())
        case smtplib.SMTPDataError():
            return fault.smtp_code >= 500
        case _:
            return isinstance(fault, ValueError | TextRefused)
