"""What a person does at a screen: open, type, choose, press, read."""

from __future__ import annotations

import re
from typing import Any

from django.conf import settings
from django.test import Client
from playwright.sync_api import (
    Browser,
    BrowserContext,
    ConsoleMessage,
    Locator,
    Page,
    ViewportSize,
    WebError,
    expect,
)

from producer.models import User

PATIENCE_MS = 10_000
PHONE: ViewportSize = {"width": 360, "height": 740}
DESKTOP: ViewportSize = {"width": 1280, "height": 900}


class House:
    """The served premises; whoever comes to it gets a browser of their own."""

    def __init__(self, browser: Browser, url: str) -> None:
        self.url = url
        self.console: list[str] = []
        self._browser = browser
        self._contexts: list[BrowserContext] = []

    def visitor(self, **options: Any) -> Screen:
        """Return the screen of somebody without an account."""
        context = self._browser.new_context(
            base_url=self.url, **{"viewport": DESKTOP, **options}
        )
        context.set_default_timeout(PATIENCE_MS)
        context.on("console", self._hear)
        context.on("weberror", self._hear_error)
        self._contexts.append(context)
        return Screen(context.new_page())

    def person(self, user: User, **options: Any) -> Screen:
        """Return the screen of somebody who is signed in already."""
        client = Client()
        client.force_login(user, settings.AUTHENTICATION_BACKENDS[-1])
        name = settings.SESSION_COOKIE_NAME
        screen = self.visitor(**options)
        screen.page.context.add_cookies(
            [{"name": name, "value": client.cookies[name].value, "url": self.url}]
        )
        return screen

    def close(self) -> None:
        """Close every browser."""
        for context in self._contexts:
            context.close()

    def _hear(self, message: ConsoleMessage) -> None:
        if message.type in {"error", "warning"}:
            self.console.append(f"{message.page and message.page.url}: {message.text}")

    def _hear_error(self, error: WebError) -> None:
        self.console.append(f"{error.page and error.page.url}: {error.error}")


class Screen:
    """One page of one person; everything is found by what it says."""

    def __init__(self, page: Page) -> None:
        self.page = page

    # -------------------------------------------------------------- going

    def open(self, address: str) -> None:
        """Open an address, typed or scanned."""
        answer = self.page.goto(address)
        assert answer is not None
        assert answer.ok, f"{address}: {answer.status}"

    def follow(self, words: str) -> None:
        """Follow the link that says this; one that is in the page, not around it."""
        self.link(words).click()

    def link(self, words: str) -> Locator:
        """Return the link that says this."""
        return self.page.locator("main").get_by_role("link", name=words, exact=True)

    def go_on(self, words: str) -> None:
        """Follow the one thing to do next, which says this."""
        self.page.locator(".next").get_by_role("link", name=words, exact=True).click()

    def search(self, words: str) -> None:
        """Type into the box at the top of every page."""
        self.page.get_by_role("searchbox").fill(words)
        self.page.get_by_role("searchbox").press("Enter")

    def sign_in(self, username: str, password: str) -> None:
        """Sign in as people do."""
        self.open("/sign-in/")
        self.enter({"Username": username, "Password": password})
        self.press("Sign in")
        expect(self.page.get_by_text("Signed in:")).to_be_visible()

    # -------------------------------------------------------------- entering

    def field(self, label: str) -> Locator:
        """Return the input with this label, whatever unit or remark follows it."""
        whole = rf"^\s*{re.escape(label)}(\s*\(in \w+\))?\s*(may stay empty)?\s*$"
        return self.page.get_by_label(re.compile(whole))

    def enter(self, values: dict[str, str]) -> None:
        """Type into fields; in a list, choose the one entry that contains the words."""
        for label, value in values.items():
            field = self.field(label)
            if field.evaluate("one => one.tagName") == "SELECT":
                choose(field, value)
            else:
                field.fill(value)

    def tick(self, *labels: str) -> None:
        """Tick boxes, or choose among round ones."""
        for label in labels:
            self.page.get_by_label(label, exact=True).check()

    def press(self, button: str, *, says: str = "") -> None:
        """Press a button; ``says`` is what the next page must then begin with."""
        self.page.get_by_role("button", name=button, exact=True).click()
        if says:
            self.sees(says, within=".messages")

    def download(self, link: str) -> bytes:
        """Take the file behind a link."""
        with self.page.expect_download() as taken:
            self.follow(link)
        return taken.value.path().read_bytes()

    def print_out(self, link: str) -> bytes:
        """Return the PDF behind a link, as the browser's own viewer would get it."""
        address = self.link(link).get_attribute("href")
        assert address is not None
        answer = self.page.request.get(address)
        assert answer.headers["content-type"] == "application/pdf"
        return answer.body()

    # -------------------------------------------------------------- reading

    def sees(self, words: str | re.Pattern[str], *, within: str = "main") -> None:
        """Wait until the page says this."""
        expect(self.page.locator(within).first).to_contain_text(words)

    def text(self, within: str = "body") -> str:
        """Return all that can be read."""
        return self.page.locator(within).inner_text()

    def fact(self, term: str) -> str:
        """Return what stands beside a term in a list of facts."""
        terms = self.page.locator("dt", has_text=re.compile(rf"^{re.escape(term)}$"))
        return terms.first.locator("xpath=following-sibling::dd[1]").inner_text()

    def signed_by(self, name: str) -> str:
        """Return what the first signature of somebody says; the account stands by."""
        terms = self.page.locator("dt", has_text=re.compile(rf"^{re.escape(name)} \("))
        return terms.first.locator("xpath=following-sibling::dd[1]").inner_text()

    def row(self, words: str) -> Locator:
        """Return the one row of a table that says this."""
        return self.page.locator("tbody tr", has_text=words)

    @property
    def code(self) -> str:
        """The code in the heading of the page."""
        return self.page.locator("h1 .code").first.inner_text()


def choose(field: Locator, words: str) -> None:
    """Choose the one entry of a list that contains the words."""
    entries = [entry.strip() for entry in field.locator("option").all_inner_texts()]
    fitting = [entry for entry in entries if words in entry]
    exact = [entry for entry in fitting if entry == words]
    assert len(exact or fitting) == 1, f"{words!r} among {entries}"
    field.select_option(label=(exact or fitting)[0])
