"""Chromium on the live pages. Any message on the console, or a part that fails to load, fails the test."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from django.conf import settings
from django.test import Client
from playwright.sync_api import Browser, BrowserContext, Page, Response, sync_playwright
from pytest_django.live_server_helper import LiveServer

from followup.models import Staff

AXE = Path(__file__).parent / "vendor" / "axe.min.js"
CHROMIUM_ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    # Playwright keeps an event loop in this thread, which Django would otherwise refuse to query beside.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    program = shutil.which("chromium")
    if program is None:
        raise FileNotFoundError("No chromium on the path. Install the package chromium.")
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=program, args=CHROMIUM_ARGUMENTS)
        yield chromium
        chromium.close()


@pytest.fixture
def context(browser: Browser, live_server: LiveServer) -> Iterator[BrowserContext]:
    context = browser.new_context(base_url=live_server.url, locale="en-GB")
    context.set_default_timeout(10_000)
    yield context
    context.close()


@pytest.fixture
def live_page(context: BrowserContext) -> Iterator[Page]:
    """A page on the running application, nobody signed in: `live_page.goto("/")`."""
    faults: list[str] = []
    page = context.new_page()
    page.on("console", lambda message: faults.append(f"console {message.type}: {message.text}"))
    page.on("pageerror", lambda error: faults.append(f"script: {error}"))
    page.on("response", lambda response: faults.extend(_failed_part(response)))
    yield page
    page.close()
    assert faults == []


def _failed_part(response: Response) -> list[str]:
    is_part = response.request.resource_type != "document"
    return [f"{response.status}: {response.url}"] if is_part and response.status >= 400 else []


@pytest.fixture
def sign_in(context: BrowserContext, live_server: LiveServer) -> Callable[[Staff], None]:
    """Signs a member of staff in to the browser without the sign-in page."""
    return lambda staff: sign_in_to(context, live_server, staff)


def sign_in_to(context: BrowserContext, live_server: LiveServer, staff: Staff) -> None:
    client = Client()
    client.force_login(staff, backend="django.contrib.auth.backends.ModelBackend")
    name = settings.SESSION_COOKIE_NAME
    context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": live_server.url}])


@pytest.fixture
def barriers() -> Callable[[Page], list[str]]:
    """What axe-core finds on the page as it stands: one line for each rule broken, with the elements."""

    def find(page: Page) -> list[str]:
        # Evaluated, not inserted as a script, so that the page's content security policy stays in force.
        page.evaluate(AXE.read_text(encoding="utf-8"))
        found = page.evaluate("async () => (await axe.run()).violations")
        return [
            f"{rule['id']} ({rule['help']}): {', '.join(str(node['target']) for node in rule['nodes'])}"
            for rule in found
        ]

    return find
