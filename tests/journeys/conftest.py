"""A Chromium, the real server on a port of its own, and a browser for each person."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, sync_playwright
from pytest_django import Settings
from pytest_django.live_server_helper import LiveServer

from producer.throwaway import find_chromium
from tests.journeys.hands import House

# Nothing here may reach for the network, nor write outside its own profile.
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    """Return the browser, started once for all of this directory."""
    # The driver runs an event loop on this thread, where Django would refuse its ORM.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    try:
        with sync_playwright() as playwright:
            chromium = playwright.chromium.launch(
                executable_path=find_chromium(),
                args=ARGUMENTS,
                # Going back shows the page as it was left, as everybody's browser does.
                ignore_default_args=["--disable-back-forward-cache"],
            )
            yield chromium
            chromium.close()
    finally:
        del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]


@pytest.fixture
def house(
    browser: Browser, live_server: LiveServer, settings: Settings
) -> Iterator[House]:
    """Return the premises as it is served, its people each in a browser of their own.

    What any page said on the console, a refused script or style above all, fails the
    test at its end.
    """
    settings.PUBLIC_URL = live_server.url
    opened = House(browser, live_server.url)
    yield opened
    opened.close()
    assert opened.console == []
