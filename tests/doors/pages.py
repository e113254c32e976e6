"""What a test looks for in a page: its elements, its links and its plain words."""

from __future__ import annotations

import dataclasses
from html.parser import HTMLParser

from django.http import HttpResponseBase

Attributes = dict[str, str]


@dataclasses.dataclass
class Page(HTMLParser):
    """A parsed page: every element with its attributes, and the words between."""

    elements: list[tuple[str, Attributes]] = dataclasses.field(default_factory=list)
    texts: list[tuple[str, str]] = dataclasses.field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__()
        self._open = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep an element."""
        self.elements.append((tag, {name: value or "" for name, value in attrs}))
        self._open = tag

    def handle_endtag(self, tag: str) -> None:
        """Leave it; what follows is not inside it."""
        self._open = ""

    def handle_data(self, data: str) -> None:
        """Keep words with the element they directly follow."""
        if data.strip():
            self.texts.append((self._open, data.strip()))

    @property
    def words(self) -> str:
        """All words of the page with single blanks."""
        return " ".join(" ".join(text for _, text in self.texts).split())

    def attributes(self, tag: str) -> list[Attributes]:
        """Return the attributes of every element of this kind."""
        return [attributes for name, attributes in self.elements if name == tag]


def page_of(response: HttpResponseBase) -> Page:
    """Parse the body of a response."""
    page = Page()
    page.feed(text_of(response))
    page.close()
    return page


def text_of(response: HttpResponseBase) -> str:
    """Return the body of a response as text."""
    body: bytes = response.getvalue()
    return body.decode()


def field_value(page: Page, name: str) -> str:
    """Return what an input of this name is filled with."""
    for attributes in page.attributes("input"):
        if attributes.get("name") == name:
            return attributes.get("value", "")
    raise LookupError(name)
