"""A mail server's report that an e-mail could not be delivered brings its person back to the recall list.

The reports are built like those of RFC 3464, appendix E: a simple failure, several recipients, a delay.
"""

from __future__ import annotations

import io
from datetime import timedelta
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from followup.domain.errors import FollowUpError
from followup.interchange.messages.returned import LARGEST, read_report, take_report
from followup.interchange.messages.send import message_id
from followup.models import ContactAttempt, OutboxMessage, PathwayVersion, Patient
from followup.services.outbox import patient_key
from tests.builders import NOW, make_message, make_patient

SIMPLE = """\
Date: Thu, 7 Jul 1994 17:16:05 -0400
From: Mail Delivery Subsystem <MAILER-DAEMON@clinic.example>
Subject: Returned mail: User unknown
To: <follow-up@clinic.example>
MIME-Version: 1.0
Content-Type: multipart/report; report-type=delivery-status; boundary="B"

--B

The original message could not be delivered.

--B
Content-Type: message/delivery-status

Reporting-MTA: dns; mail.clinic.example

{recipients}
--B
Content-Type: {kind}

Message-ID: {message_id}
Subject: Your visit

--B--
"""
FAILED = """\
Original-Recipient: rfc822;amal@home.example
Final-Recipient: rfc822;amal@home.example
Action: failed
Status: 5.1.1
Diagnostic-Code: smtp; 550 5.1.1 <amal@home.example>...
 User unknown
"""
DELAYED = "Final-Recipient: rfc822;amal@home.example\nAction: delayed\nStatus: 4.4.1\n"
DELIVERED = "Final-Recipient: rfc822;other@home.example\nAction: relayed\nStatus: 2.1.5\n"
OF_NOBODY = "<00000000000000000000000000000000@localhost>"


@pytest.fixture
def patient(pathways: list[PathwayVersion]) -> Patient:
    return make_patient(email="amal@home.example")


@pytest.fixture
def sent(patient: Patient) -> OutboxMessage:
    key = patient_key(patient, "reminder", "1")
    about = {"site": patient.site, "kind": "reminder", "to": "amal@home.example"}
    return make_message(key=key, state="sent", sent_at=NOW - timedelta(hours=2), **about)


def report(message_id: str, recipients: str = FAILED, kind: str = "text/rfc822-headers") -> bytes:
    text = SIMPLE.format(message_id=message_id, recipients=recipients, kind=kind)
    return text.replace("\n", "\r\n").encode()


@pytest.mark.django_db
@pytest.mark.parametrize("kind", ["text/rfc822-headers", "message/rfc822"])
@pytest.mark.parametrize("recipients", [FAILED, f"{DELIVERED}\n{FAILED}"], ids=["one", "one of two"])
def test_a_returned_reminder_brings_its_person_back_once(
    sent: OutboxMessage, patient: Patient, kind: str, recipients: str
) -> None:
    mail = read_report(report(message_id(sent), recipients, kind))
    assert take_report(report=mail, now=NOW) == (sent, True)
    attempt = ContactAttempt.objects.get()
    assert (attempt.patient, attempt.result, attempt.channel) == (patient, "returned", "email")
    said = "amal@home.example: 550 5.1.1 <amal@home.example>... User unknown"
    assert attempt.note == f"Not delivered. {said}"
    sent.refresh_from_db()
    assert (sent.state, sent.problem) == ("failed", f"Returned. {said}")
    assert take_report(report=mail, now=NOW) == (sent, False)
    assert ContactAttempt.objects.count() == 1


@pytest.mark.django_db
def test_a_server_that_rewrote_the_domain_is_understood(sent: OutboxMessage) -> None:
    name = message_id(sent).partition("@")[0]
    assert take_report(report=read_report(report(f"{name}@relay.example>")), now=NOW) == (sent, True)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("content", "said"),
    [
        (report("{ours}", DELAYED), 'says "delayed", not that the message failed'),
        (report(OF_NOBODY), "is the Message-ID of no e-mail that was sent from here in the last 60 days"),
        (report(""), "does not name the Message-ID"),
        (b"Subject: I am away\r\n\r\nUntil Monday.", "no delivery report"),
        (b"", "no delivery report"),
        (b"\xff\x00\xfe", "no delivery report"),
        (b"x" * (LARGEST + 1), "larger than 1,000,000 bytes"),
    ],
    ids=["delayed", "not ours", "nameless", "holiday notice", "empty", "no mail", "too large"],
)
def test_what_is_no_failure_of_ours_changes_nothing(sent: OutboxMessage, content: bytes, said: str) -> None:
    ours = message_id(sent).encode()
    with pytest.raises(FollowUpError, match=said):
        take_report(report=read_report(content.replace(b"{ours}", ours)), now=NOW)
    assert not ContactAttempt.objects.exists()
    sent.refresh_from_db()
    assert sent.state == "sent"


@pytest.mark.django_db
def test_the_command_reads_a_saved_mail(sent: OutboxMessage, tmp_path: Path) -> None:
    file, told = tmp_path / "report.eml", io.StringIO()
    OutboxMessage.objects.update(sent_at="2099-01-01T00:00:00Z")
    file.write_bytes(report(message_id(sent)))
    call_command("delivery_report", str(file), stdout=told)
    call_command("delivery_report", str(file), stdout=told)
    assert told.getvalue().splitlines() == [
        "E-mail to amal@home.example: not delivered. The person is back on the recall list.",
        "E-mail to amal@home.example: not delivered. This was known already.",
    ]
    file.write_text("Subject: hello\n\nhello")
    with pytest.raises(CommandError, match="no delivery report"):
        call_command("delivery_report", str(file))
