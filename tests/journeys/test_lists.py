"""Every bottle of a recall: counted while it is written, saved once it is whole."""

from __future__ import annotations

import json
from collections.abc import Callable

import pypdfium2
import pytest
from playwright.sync_api import Route, expect

from producer.models import Stock
from tests import make
from tests.journeys.hands import PHONE, House, Screen

pytestmark = pytest.mark.browser
NUMBER = 24  # bottles


@pytest.fixture
def root(crew: make.Crew) -> Stock:
    """Return a batch that was filled into bottles."""
    return make.filled(crew, count=NUMBER, nominal_ul=50_000).batch.stock


def said(screen: Screen, kind: str) -> str:
    """Return what the box of a kind says once it has ended."""
    box = screen.page.locator(f"[data-kind={kind}]")
    status = box.get_by_role("status")
    expect(status).not_to_have_text("The list is being written.")
    expect(box.locator("[data-list-progress]")).to_be_hidden()
    return status.inner_text()


@pytest.mark.parametrize("kind", ["pdf", "csv", "json"])
def test_a_whole_list_is_counted_and_saved(
    house: House, crew: make.Crew, root: Stock, kind: str
) -> None:
    screen = house.person(crew.maker, viewport=PHONE)
    screen.open(f"/affected/{root.code}/")
    screen.follow("Every bottle, one by one")
    with screen.page.expect_download() as taken:
        screen.follow(f"Save the {kind.upper()}")
    name = f"bottles-{root.code}.{kind}"
    assert taken.value.suggested_filename == name
    assert said(screen, kind) == (
        f"{NUMBER} bottles are in {name}, as many as it says at its end. It is saved."
    )
    content = taken.value.path().read_bytes()
    if kind == "pdf":
        page = pypdfium2.PdfDocument(content)[0].get_textpage().get_text_range()
        assert f"End of the list: {NUMBER} bottles." in page
    elif kind == "json":
        assert len(json.loads(content)["bottles"]) == NUMBER
    else:
        assert content.decode().splitlines()[-1].startswith(f"end,{NUMBER} bottles,")


def lacks(content: bytes, of: bytes) -> bytes:
    """Return a file that has one bottle less than it says."""
    before, _, after = content.partition(of)
    return before + after.partition(b"\n")[2]


BROKEN: dict[str, tuple[str, Callable[[bytes], bytes]]] = {
    "the end is missing": ("csv", lambda whole: whole[: whole.rindex(b"\r\nend,") + 2]),
    "a bottle is missing": ("csv", lambda whole: lacks(whole, b"\r\n")),
    "data cut off": ("json", lambda whole: whole[:-3]),
    "an object is missing": ("json", lambda whole: lacks(whole, b"[\n")),
    "paper cut off": ("pdf", lambda whole: whole[:-1]),
    "a page is missing": (
        "pdf",
        lambda whole: whole.replace(b"%% %d of" % NUMBER, b"%% %d of" % (NUMBER - 1)),
    ),
}


@pytest.mark.parametrize("name", BROKEN)
def test_what_broke_off_is_said_and_not_saved(
    house: House, crew: make.Crew, root: Stock, name: str
) -> None:
    kind, breaks = BROKEN[name]
    screen = house.person(crew.maker)
    saved: list[str] = []
    screen.page.on("download", lambda taken: saved.append(taken.suggested_filename))

    def broken(route: Route) -> None:
        answer = route.fetch()
        assert breaks(answer.body()) != answer.body()
        route.fulfill(response=answer, body=breaks(answer.body()))

    address = f"/affected/{root.code}/"
    screen.open(f"{address}bottles/")
    screen.page.route(lambda url: url.endswith((".csv", ".json", ".pdf")), broken)
    screen.follow(f"Save the {kind.upper()}")
    assert said(screen, kind).startswith("The file broke off after about 2")
    assert said(screen, kind).endswith("It is not saved: begin again.")
    assert saved == []


def test_without_a_connection_nothing_is_saved_and_it_says_so(
    house: House, crew: make.Crew, root: Stock
) -> None:
    screen = house.person(crew.maker)
    screen.open(f"/affected/{root.code}/bottles/")
    screen.page.route("**/*.csv", lambda route: route.abort())
    screen.follow("Save the CSV")
    assert said(screen, "csv") == "The connection broke. Nothing is saved: begin again."
    assert "ERR_FAILED" in house.console.pop()


def test_without_its_script_the_link_saves_the_file(
    house: House, crew: make.Crew, root: Stock
) -> None:
    screen = house.person(crew.maker, java_script_enabled=False)
    screen.open(f"/affected/{root.code}/bottles/")
    content = screen.download("Save the CSV")
    assert content.count(b"\n") == NUMBER + 2
