"""Settings that do not go together are refused before anything is served."""

from __future__ import annotations

import pytest
from django.conf import LazySettings

from config import checks

PRODUCTION = {
    "PRODUCTION": True,
    "SECRET_KEY_IS_SET": True,
    "DEBUG": False,
    "BASE_URL": "https://follow-up.clinic.example",
    "ALLOWED_HOSTS": ["follow-up.clinic.example"],
    "EMAIL_BACKEND": "django.core.mail.backends.smtp.EmailBackend",
    "DEFAULT_FROM_EMAIL": "follow-up@clinic.example",
}


def refusals(settings: LazySettings, **changes: object) -> list[str]:
    for name, value in {**PRODUCTION, **changes}.items():
        setattr(settings, name, value)
    return [str(fault.id) for fault in checks.check_production(None)]


@pytest.mark.parametrize(
    ("changes", "refused"),
    [
        ({}, []),
        ({"ALLOWED_HOSTS": [".clinic.example"]}, []),
        ({"ALLOWED_HOSTS": ["*"]}, []),
        ({"SECRET_KEY_IS_SET": False}, ["config.E001"]),
        ({"DEBUG": True}, ["config.E002"]),
        ({"BASE_URL": "http://follow-up.clinic.example"}, ["config.E003"]),
        ({"ALLOWED_HOSTS": ["localhost"]}, ["config.E004"]),
        ({"ALLOWED_HOSTS": ["up.clinic.example"]}, ["config.E004"]),
        ({"EMAIL_BACKEND": "django.core.mail.backends.console.EmailBackend"}, ["config.E005"]),
        ({"DEFAULT_FROM_EMAIL": "follow-up@localhost"}, ["config.E006"]),
        ({"SECRET_KEY_IS_SET": False, "DEBUG": True}, ["config.E001", "config.E002"]),
        ({"PRODUCTION": False, "SECRET_KEY_IS_SET": False, "DEBUG": True}, []),
    ],
)
def test_a_clinic_s_installation_is_not_left_to_defaults(
    settings: LazySettings, changes: dict[str, object], refused: list[str]
) -> None:
    assert refusals(settings, **changes) == refused


@pytest.mark.parametrize(
    ("address", "is_refused"),
    [
        ("https://follow-up.clinic.example", False),
        ("http://localhost:8000", False),
        ("follow-up.clinic.example", True),
        ("https://", True),
        ("ftp://clinic.example", True),
    ],
)
def test_the_base_address_is_a_web_address(settings: LazySettings, address: str, is_refused: bool) -> None:
    settings.BASE_URL = address
    assert [fault.id for fault in checks.check_addresses(None)] == ["config.E010"] * is_refused


@pytest.mark.parametrize(
    ("engine", "broker", "warned"),
    [
        ("django.db.backends.sqlite3", "redis://localhost", True),
        ("django.db.backends.sqlite3", "", False),
        ("django.db.backends.postgresql", "redis://localhost", False),
    ],
)
def test_several_workers_on_one_sqlite_file_are_warned_of(
    settings: LazySettings, monkeypatch: pytest.MonkeyPatch, engine: str, broker: str, warned: bool
) -> None:
    settings.BROKER_URL = broker
    monkeypatch.setitem(settings.DATABASES["default"], "ENGINE", engine)
    assert [fault.id for fault in checks.check_broker(None)] == ["config.W011"] * warned


@pytest.mark.parametrize(
    ("production", "address", "is_refused"),
    [
        (True, "", False),
        (True, "https://texts.clinic.example/send", False),
        (True, "http://texts.clinic.example/send", True),
        (False, "http://localhost:9000/texts", False),
        (False, "texts.clinic.example", True),
        (False, "file:///tmp/texts", True),
        (False, "https://", True),
    ],
)
def test_text_messages_go_to_an_address_that_can_take_them(
    settings: LazySettings, production: bool, address: str, is_refused: bool
) -> None:
    settings.PRODUCTION, settings.TEXT_GATEWAY_URL = production, address
    assert [fault.id for fault in checks.check_text_gateway(None)] == ["config.E012"] * is_refused


def test_every_refusal_says_what_to_do(settings: LazySettings) -> None:
    refusals(
        settings,
        SECRET_KEY_IS_SET=False,
        DEBUG=True,
        BASE_URL="http://elsewhere",
        EMAIL_BACKEND="django.core.mail.backends.console.EmailBackend",
        DEFAULT_FROM_EMAIL="follow-up@localhost",
    )
    faults = checks.check_production(None)
    assert [str(fault.hint).startswith(("Set ", "Unset ")) for fault in faults] == [True] * 6
