"""Finding what a code names, however it was typed; and pages with nothing on them."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from producer.codes import grouped, new_bottle_code, numbered_code
from producer.models import User
from tests.doors import kept
from tests.doors.pages import page_of
from tests.doors.world import World

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(db: None) -> World:
    return kept.world()


@pytest.fixture
def browser(world: World) -> Client:
    client = Client()
    client.force_login(world.accounts["auditor"])
    return client


KINDS = ("lot", "batch", "bottle", "filling lot", "dispatch", "recall")


def page_and_code(world: World, kind: str) -> tuple[str, str]:
    """Return the page and the code of one record of this kind."""
    return {
        "lot": ("producer:lot", world.lot.code),
        "batch": ("batches:batch", world.waiting.number),
        "bottle": ("quality:bottle", world.bottle.code),
        "filling lot": ("batches:filling_lot", world.filling_lot.code),
        "dispatch": ("batches:dispatch", world.dispatch.code),
        "recall": ("quality:recall", world.recall.code),
    }[kind]


@pytest.mark.parametrize("kind", KINDS)
def test_a_code_leads_to_its_record_however_it_is_typed(
    world: World, browser: Client, kind: str
) -> None:
    page, code = page_and_code(world, kind)
    there = reverse(page, args=[code])
    printed = grouped(code) if kind == "bottle" else code
    for typed in (
        code,
        printed,
        printed.lower(),
        printed.replace("-", ""),
        printed.replace("-", "").lower(),
        printed.replace("-", " "),
        f"  {printed} ",
    ):
        response = browser.get("/find/", {"q": typed})
        assert (response.status_code, response.headers.get("Location")) == (302, there)
    assert browser.get(there).status_code == 200


def test_the_address_on_a_bottle_may_be_pasted(world: World, browser: Client) -> None:
    there = reverse("quality:bottle", args=[world.bottle.code])
    code = grouped(world.bottle.code)
    for pasted in (
        f"https://kettle.example/b/{code}",
        f"http://127.0.0.1:8000/b/{code.lower()}/",
        f" HTTPS://KETTLE.EXAMPLE/B/{code}?from=scan ",
    ):
        response = browser.get("/find/", {"q": pasted})
        assert response.headers.get("Location") == there


@pytest.mark.parametrize("typed", [numbered_code("L", 2026, 4321), "nothing of ours"])
def test_what_is_not_found_is_said(browser: Client, typed: str) -> None:
    page = page_of(browser.get("/find/", {"q": typed}))
    assert "Nothing contains this." in page.words
    was_a_code = typed.startswith("L26")
    assert ("it was not issued by this premises" in page.words) is was_a_code


def test_a_bottle_code_that_was_never_issued_is_said_to_be_none_of_ours(
    browser: Client,
) -> None:
    response = browser.get("/find/", {"q": new_bottle_code()}, follow=True)
    assert response.status_code in {200, 404}
    assert "not issued by" in page_of(response).words


@pytest.mark.parametrize(
    ("typed", "leads_to"),
    [
        ("fenwick", "/registers/suppliers/"),
        ("LINDQVIST", "/registers/consignees/"),
        ("potash", "/registers/materials/"),
        ("kitchen", "/formulas/"),
        ("SL-1", "/lots/"),
        ("mirja", "/people/"),
    ],
)
def test_words_find_what_contains_them(
    browser: Client, typed: str, leads_to: str
) -> None:
    page = page_of(browser.get("/find/", {"q": typed}))
    links = [
        one["href"] for one in page.attributes("a") if one["href"].startswith(leads_to)
    ]
    navigation = {"/lots/"}
    found = [link for link in links if link not in navigation]
    assert found
    for link in found:
        assert browser.get(link).status_code in {200, 403}  # a register's entry: makers


def test_the_first_characters_of_a_bottle_find_it(
    world: World, browser: Client
) -> None:
    code = world.bottle.code
    page = page_of(browser.get("/find/", {"q": grouped(code)[:7].lower()}))
    assert reverse("quality:bottle", args=[code]) in {
        one["href"] for one in page.attributes("a")
    }


# ------------------------------------------------------------------ nothing there yet


@pytest.mark.parametrize(
    ("address", "says"),
    [
        ("/", "The first steps"),
        ("/lots/", "Before goods can come in, register a supplier and a material."),
        ("/batches/", "No batch here. Open one from a formula."),
        ("/bottles/", "Nothing is filled yet."),
        ("/dispatches/", "Nothing has left yet."),
        ("/recalls/", "No recall."),
        ("/formulas/", "No formula yet."),
        ("/journal/?on=nothing", "No act fits what you look for."),
        ("/registers/suppliers/", "No supplier is registered yet."),
        ("/registers/instruments/", "No instrument is registered yet."),
        ("/find/", "Type or scan a code"),
    ],
)
def test_an_empty_premises_says_what_to_do_first(
    owner: User, address: str, says: str
) -> None:
    client = Client()
    client.force_login(owner)
    assert says in page_of(client.get(address)).words


def test_the_journal_of_a_new_premises_begins_with_its_setting_up(owner: User) -> None:
    client = Client()
    client.force_login(owner)
    assert "premises set up" in page_of(client.get("/journal/")).words


def test_the_first_steps_are_gone_when_there_is_a_material(
    world: World, browser: Client
) -> None:
    words = page_of(browser.get("/")).words
    assert "The first steps" not in words
    assert world.waiting.number in words
