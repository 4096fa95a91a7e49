"""One browser for all page tests, and small passages whose sound says where in the clip one is."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))  # for page_helpers

from page_helpers import INFO, passage

from klangprobe.page import BarsPage, write_page

CHROMIUM = "/usr/bin/chromium"
QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="session")
def browser():
    """Return headless Chromium; where there is none, skip here and fail in CI."""
    if not Path(CHROMIUM).exists():
        message = f"no Chromium at {CHROMIUM}"
        if os.environ.get("CI"):
            pytest.fail(message)
        pytest.skip(message)
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as player:
        chromium = player.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        yield chromium
        chromium.close()


class Watched:
    """A tab that keeps every console message, error and request."""

    def __init__(self, browser, address: str, **options) -> None:
        self.context = browser.new_context(**{"viewport": {"width": 1280, "height": 900}, **options})
        self.tab = self.context.new_page()
        self.complaints: list[str] = []
        self.requests: list[str] = []
        self.tab.on("console", lambda message: self.complaints.append(f"{message.type}: {message.text}"))
        self.tab.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.tab.on("request", lambda request: self.requests.append(request.url))
        self.tab.goto(address)


@pytest.fixture
def open_page(browser):
    """Return a function that opens an address and watches it."""
    opened: list[Watched] = []

    def open_(address: str | Path, **options) -> Watched:
        address = address.as_uri() if isinstance(address, Path) else address
        opened.append(Watched(browser, address, **options))
        return opened[-1]

    yield open_
    for watched in opened:
        watched.context.close()


@pytest.fixture(scope="session")
def listening(tmp_path_factory) -> Path:
    """Return a written page of two passages; the second has one variant and no bars."""
    folder = tmp_path_factory.mktemp("listening")
    first = passage("the river")
    second = passage("the ladder", variants=first.variants[:1], bars=BarsPage(), figures=(), pictures=(), answers=())
    return write_page(folder, [first, second], info=INFO)
