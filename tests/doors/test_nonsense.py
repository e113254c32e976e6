"""Addresses nobody would type, and the pages that say so."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.test import Client, RequestFactory
from django.urls import reverse
from django.views.defaults import server_error

from batches.models import LabelIssue
from producer.models import Person, User
from tests import make
from tests.doors.pages import Page, page_of, text_of
from tests.doors.world import World

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("standing_world")]

MOST_ROWS = 25
LISTS = (
    "/lots/",
    "/batches/",
    "/bottles/",
    "/dispatches/",
    "/recalls/",
    "/journal/",
    "/people/",
    "/formulas/",
    "/registers/suppliers/",
    "/registers/consignees/",
    "/registers/materials/",
    "/registers/instruments/",
)
NONSENSE = (
    "page=-1",
    "page=0",
    "page=999999",
    "page=1e3",
    "page=²",
    "page=" + "9" * 5000,
    "sort=evil",
    "sort=-evil",
    "sort=password",
    "sort=-",
    "sort=",
    "per_page=100000",
    "per_page=-5",
    "per_page=0",
    "status=evil",
    "who=²",
    "who=" + "9" * 30,
    "who=" + "9" * 5000,
    "who=-1",
    "day=0001-01-01",
    "day=9999-12-31",
    "day=2026-13-45",
    "day=20261001",
    "on=%25",
    "on=" + "x" * 5000,
)


@pytest.fixture
def crowd(world: World) -> None:
    """Add more rows to every list than a page takes."""
    people = [Person(name=f"Person {number:03d}") for number in range(40)]
    Person.objects.bulk_create(people)
    User.objects.bulk_create(
        User(person=person, username=f"person.{number:03d}")
        for number, person in enumerate(people)
    )
    for number in range(40):
        make.supplier(world.accounts["maker"], f"Supplier {number:03d}")


def rows_of(page: Page) -> int:
    """Count the rows of the body of a table."""
    rows = [one for one in page.attributes("tr") if one.get("role") == "row"]
    return max(len(rows) - 1, 0)


@pytest.mark.usefixtures("crowd")
@pytest.mark.parametrize("address", LISTS)
def test_a_list_answers_nonsense_with_a_page_of_at_most_25_rows(
    browser: Client, address: str
) -> None:
    browser.raise_request_exception = False
    wrong = {}
    for query in ("", *NONSENSE):
        response = browser.get(f"{address}?{query}")
        rows = rows_of(page_of(response))
        if response.status_code != 200 or rows > MOST_ROWS:
            wrong[query[:40]] = response.status_code, rows
    assert wrong == {}


@pytest.mark.usefixtures("crowd")
@pytest.mark.parametrize("address", ["/people/", "/registers/suppliers/", "/journal/"])
def test_a_long_list_has_pages_and_shows_each_row_once(
    browser: Client, address: str
) -> None:
    first = page_of(browser.get(address))
    second = page_of(browser.get(f"{address}?page=2"))
    assert rows_of(first) == MOST_ROWS
    assert rows_of(second) > 0
    assert "Page 1 of" in first.words
    assert "Page 2 of" in second.words
    on_both = entries_of(first, address) & entries_of(second, address)
    assert on_both == set()


def entries_of(page: Page, address: str) -> set[str]:
    """Return the links of a list to its entries; the journal has numbers instead."""
    if address == "/journal/":
        numbers = [text for tag, text in page.texts if tag == "td" and text.isdigit()]
        assert len(numbers) >= MOST_ROWS or rows_of(page) < MOST_ROWS
        return set(numbers)
    links = {one.get("href", "") for one in page.attributes("a")}
    entries = {link for link in links if re.fullmatch(f"{address}[0-9]+/", link)}
    assert entries
    return entries


@pytest.mark.usefixtures("crowd")
def test_a_list_sorts_both_ways_and_keeps_its_filter_when_paged(
    browser: Client,
) -> None:
    address = "/registers/suppliers/"
    up = page_of(browser.get(f"{address}?sort=name")).words
    down = page_of(browser.get(f"{address}?sort=-name")).words
    assert up.index("Supplier 000") < up.index("Supplier 001")
    assert "Supplier 000" not in down
    assert down.index("Supplier 039") < down.index("Supplier 038")
    page = page_of(browser.get(f"{address}?sort=-name"))
    following = [one for one in page.attributes("a") if one.get("rel") == "next"]
    assert following
    assert "sort=-name" in following[0]["href"]


@pytest.mark.parametrize(
    "numbers",
    ["9" * 5000, "-1", "²", "2-1", "1-" + "9" * 40, "1.5", "1--2", "0", "one"],
)
def test_labels_asked_for_in_nonsense_are_refused_beside_the_field(
    world: World, browser: Client, numbers: str
) -> None:
    browser.raise_request_exception = False
    address = reverse("quality:labels", args=[world.filling_lot.code])
    issues = LabelIssue.objects.count()
    response = browser.post(address, {"numbers": numbers})
    assert response.status_code == 200
    assert "is no bottle of this lot" in response.content.decode()
    assert LabelIssue.objects.count() == issues


@pytest.mark.parametrize(
    "address",
    [
        "/people/99999999999999999999/",
        "/formulas/99999999999999999999/",
        "/files/99999999999999999999/",
        "/limits/99999999999999999999/",
        "/registers/materials/99999999999999999999/",
        "/batches/{pot}/charge/99999999999999999999/",
        "/batches/{pot}/charge/0/",
        "/batches/{pot}/charge/5/",
        "/batches/{pot}/charges/99999999999999999999/amend/",
        "/batches/{pot}/read/evil/",
        "/batches/{waiting}/charges/{charge}/amend/",
        "/lots/%00/",
        "/lots/{pot}/",
        "/batches/{lot}/",
        "/batches/%00/",
        "/bottles/%00/",
        "/dispatches/%00/",
        "/recalls/%00/",
        "/affected/%00/",
        "/history/%00/",
        "/b/%00/move/",
        "/lots/" + "x" * 3000 + "/",
        "/admin/",
        "/.git/config",
        "/static/../producer/settings.py",
    ],
)
def test_an_address_of_nothing_is_not_found(
    world: World, browser: Client, address: str
) -> None:
    browser.raise_request_exception = False
    charge = world.cooking.charges.order_by("pk")[0]
    response = browser.get(
        address.format(
            pot=world.cooking.number,
            waiting=world.waiting.number,
            charge=charge.pk,
            lot=world.lot.code,
        )
    )
    assert response.status_code == 404
    assert "Nothing is here" in page_of(response).words


@pytest.mark.parametrize(
    "query", ["%25", "_", "9" * 5000, "²", "%F0%9F%A7%BC", "'; DROP TABLE"]
)
def test_a_search_for_nonsense_finds_nothing_and_does_not_break(
    browser: Client, query: str
) -> None:
    browser.raise_request_exception = False
    response = browser.get(f"/find/?q={query}")
    assert response.status_code == 200


@pytest.mark.parametrize(
    "address", ["/journal/?on=%00", "/find/?q=a%00b", "/lots/?status=%00"]
)
def test_a_null_character_in_a_question_cannot_be_read(
    browser: Client, address: str
) -> None:
    response = browser.get(address)
    assert response.status_code == 400
    assert "This request could not be read" in page_of(response).words


def test_codes_in_an_address_may_be_in_small_letters(
    world: World, browser: Client
) -> None:
    for name, code in (
        ("producer:lot", world.lot.code),
        ("batches:batch", world.cooking.number),
        ("batches:filling_lot", world.filling_lot.code),
        ("batches:dispatch", world.dispatch.code),
        ("quality:recall", world.recall.code),
        ("quality:affected", world.lot.code),
        ("quality:bottle_move", world.bottle.code),
    ):
        assert browser.get(reverse(name, args=[code.lower()])).status_code == 200


# ------------------------------------------------------------------ error pages


def test_not_found_offers_the_way_back_and_shows_a_visitor_nothing_inside(
    world: World, browser: Client
) -> None:
    inside = page_of(browser.get("/no/such/page/"))
    outside = page_of(Client().get("/no/such/page/"))
    assert "look for a part of it above" in inside.words
    assert "555 0100" in outside.words
    assert "Journal" in inside.words
    assert "Journal" not in outside.words


def test_not_allowed_names_the_right_that_is_needed(world: World) -> None:
    client = Client()
    client.force_login(world.accounts["auditor"])
    response = client.get(reverse("quality:sign", args=[world.waiting.number]))
    assert response.status_code == 403
    words = page_of(response).words
    assert "This page needs the right “Reviewer”." in words
    assert "Nothing was recorded." in words


@pytest.fixture
def no_database() -> Iterator[None]:
    """Make every query fail, as when the database is down."""

    def fail(*_: object) -> HttpResponse:
        raise AssertionError("the page asked the database")

    with connection.execute_wrapper(fail):
        yield


@pytest.mark.usefixtures("no_database")
def test_the_page_of_a_fault_needs_no_database(rf: RequestFactory) -> None:
    response = server_error(rf.get("/"))
    assert response.status_code == 500
    assert "What you recorded before is safe." in text_of(response)
    assert "Do not leave a pot waiting" in text_of(response)


def test_a_fault_is_told_as_one_and_shows_no_insides(
    world: World, browser: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> HttpResponse:
        raise RuntimeError("the secret of the kettle")

    monkeypatch.setattr("quality.views.overview.due", broken)
    browser.raise_request_exception = False
    response = browser.get("/")
    assert response.status_code == 500
    text = text_of(response)
    assert "Something broke on our side" in text
    assert "secret of the kettle" not in text
    assert "Traceback" not in text


def test_an_unknown_host_is_refused(client: Client, db: None) -> None:
    response = client.get("/sign-in/", headers={"host": "evil.example"})
    assert response.status_code == 400
    assert isinstance(response.wsgi_request, HttpRequest)
