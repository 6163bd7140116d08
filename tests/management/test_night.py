"""`night` does the work of one night, for machines that start it by cron."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
import time_machine
from django.core.management import call_command

from followup.models import PathwayVersion
from tests.builders import make_site
from tests.servers import MailServer

pytestmark = pytest.mark.django_db


def test_the_command_sends_the_day_s_digest_once(
    mail_server: MailServer, pathways: list[PathwayVersion]
) -> None:
    make_site(digest_email="list@clinic.example")
    with time_machine.travel(datetime(2026, 3, 2, 9, 0, tzinfo=UTC), tick=False):
        call_command("night")
        call_command("night")
    assert [str(message["To"]) for message in mail_server.received] == ["list@clinic.example"]
