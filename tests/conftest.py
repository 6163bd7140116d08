"""Real parts for every test: a database file other processes can open, Redis, SMTP. Only time is replaced."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import LazySettings
from django.db import connection

from followup.models import PathwayVersion
from followup.services.pathway import load_pathways
from tests import servers


@pytest.fixture(scope="session")
def django_db_modify_db_settings(
    django_db_modify_db_settings_parallel_suffix: None,
    tmp_path_factory: pytest.TempPathFactory,
    worker_id: str,
) -> None:
    """Tests use a database file: a worker process cannot share memory, and a thread cannot wait for it."""
    if connection.vendor == "sqlite":
        folder = tmp_path_factory.mktemp("database")
        connection.settings_dict["TEST"]["NAME"] = str(folder / f"{worker_id}.sqlite3")


@pytest.fixture(scope="session")
def redis_url(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with servers.redis_server(tmp_path_factory.mktemp("redis")) as address:
        yield address


@pytest.fixture
def mail_server(settings: LazySettings) -> Iterator[servers.MailServer]:
    """A fresh SMTP server, and Django set to send through it."""
    with servers.mail_server() as server:
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST = server.host
        settings.EMAIL_PORT = server.port
        settings.EMAIL_TIMEOUT = 5
        yield server


@pytest.fixture
def database_url() -> str:
    """The address of the test database, for a process of its own."""
    details = connection.settings_dict
    if connection.vendor == "sqlite":
        return f"sqlite:///{Path(str(details['NAME'])).resolve()}"
    return f"postgres://{details['USER']}@{details['HOST']}:{details['PORT']}/{details['NAME']}"


@pytest.fixture
def pathways(db: None, settings: LazySettings) -> list[PathwayVersion]:
    """The shipped pathways, as every installation has them."""
    return load_pathways(folder=Path(settings.BASE_DIR) / "fixtures" / "pathways")
