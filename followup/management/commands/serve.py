"""Serves the pages; without a broker also does the night's work, in the same process."""

from __future__ import annotations

import os
import signal
import sys
from argparse import ArgumentParser
from collections.abc import Mapping
from contextlib import nullcontext
from pathlib import Path
from types import FrameType
from typing import Any

import waitress
from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand
from django.core.wsgi import get_wsgi_application

from followup.jobs.embedded import embedded_worker
from followup.services.pathway import load_pathways


class Command(BaseCommand):
    help = "Prepare the database, serve the pages and, where REDIS_URL is not set, do the night's work too."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--host", default="127.0.0.1", help="address to listen on")
        parser.add_argument("--port", type=int, default=8000, help="port to listen on; 0 takes a free one")
        parser.add_argument("--threads", type=int, default=8, help="pages served at the same time")
        parser.add_argument("--trusted-proxy", default=None, help="address of the proxy that speaks HTTPS")

    def handle(self, *args: Any, **options: Any) -> None:
        self.prepare()
        signal.signal(signal.SIGTERM, _leave)
        server = waitress.create_server(
            get_wsgi_application(),
            host=options["host"],
            port=options["port"],
            threads=options["threads"],
            **_proxy(options["trusted_proxy"]),
        )
        address = f"http://{options['host']}:{server.effective_port}"
        settings.BASE_URL = address_in_messages(os.environ, address)
        with nullcontext() if settings.BROKER_URL else embedded_worker():
            self.stdout.write(f"Serving on {address}/")
            self.stdout.flush()
            server.run()
        self.stdout.write("Stopped.")

    def prepare(self) -> None:
        """Bring the tables, the shipped pathways and, in production, the static files up to date."""
        call_command("migrate", verbosity=0, interactive=False)
        load_pathways(folder=Path(settings.BASE_DIR) / "fixtures" / "pathways")
        if settings.PRODUCTION:
            call_command("collectstatic", verbosity=0, interactive=False)


def address_in_messages(environment: Mapping[str, str], served_on: str) -> str:
    """Where what is sent leads to: the address that people type, where it is set, else where it is served."""
    return environment.get("BASE_URL") or served_on


def _proxy(address: str | None) -> dict[str, Any]:
    """Believe that address, and no other, about the scheme a page was asked for with."""
    return {"trusted_proxy": address, "trusted_proxy_headers": {"x-forwarded-proto"}} if address else {}


def _leave(signum: int, frame: FrameType | None) -> None:
    # Waitress ends its loop on SystemExit, and what follows is stopped in order.
    sys.exit(0)
