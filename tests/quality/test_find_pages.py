"""Finding what a code names, however it was typed; and pages with nothing on them."""

from __future__ import annotations

import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from batches.models import Bottle, PatchTest, SprayMix
from producer.codes import grouped, new_bottle_code, numbered_code
from producer.models import Container, User
from quality.services.finding import LONGEST, MOST_HITS
from tests import make
from tests.doors import world as worlds
from tests.doors.pages import page_of
from tests.doors.world import World

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(db: None) -> World:
    return worlds.build()


@pytest.fixture
def browser(world: World) -> Client:
    client = Client()
    client.force_login(world.accounts["auditor"])
    return client


KINDS = (
    "lot",
    "batch",
    "bottle",
    "filling lot",
    "dispatch",
    "recall",
    "deviation",
    "mix",
)


def page_and_code(world: World, kind: str) -> tuple[str, str]:
    """Return the page and the code of one record of this kind."""
    return {
        "lot": ("producer:lot", world.lot.code),
        "batch": ("batches:batch", world.waiting.number),
        "bottle": ("quality:bottle", world.bottle.code),
        "filling lot": ("batches:filling_lot", world.filling_lot.code),
        "dispatch": ("batches:dispatch", world.dispatch.code),
        "recall": ("quality:recall", world.recall.code),
        "deviation": ("quality:deviation", world.deviation.code),
        "mix": ("quality:mix", SprayMix.objects.latest("pk").code),
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
    assert "never given to a bottle here" in page_of(response).words


@pytest.mark.parametrize(
    ("typed", "heading", "leads_to"),
    [
        ("fenwick", "Suppliers", "/suppliers/"),
        ("LINDQVIST", "Consignees", "/consignees/"),
        ("potash", "Materials", "/materials/"),
        ("kitchen", "Formulas", "/formulas/"),
        ("SL-1", "Raw lots", "/lots/"),
        ("mirja", "People", "/people/"),
        ("bench sc", "Instruments, strips and buffers", "/instruments/"),
        ("steel", "Vessels", "/registers/vessels/"),
        ("tried out", "Recalls", "/recalls/"),
        ("lindqvist", "Dispatches", "/dispatches/"),
    ],
)
def test_words_find_what_contains_them_by_kind(
    browser: Client, typed: str, heading: str, leads_to: str
) -> None:
    response = browser.get("/find/", {"q": typed})
    assert heading in page_of(response).words
    main = response.text.partition(f"<h2>{heading}</h2>")[2].partition("</ul>")[0]
    found = re.findall(r'href="([^"]+)"', main)
    assert found
    for link in found:
        assert link.startswith(leads_to)
        assert browser.get(link).status_code == 200  # by everybody with an account


def test_the_number_of_a_certificate_leads_to_its_lot(browser: Client) -> None:
    crew = make.Crew(
        User.objects.get(is_maker=True), User.objects.get(is_reviewer=True)
    )
    lot = make.released_lot(
        crew, make.potash(crew.maker), certificate={"reference": "COA 4471/b"}
    )
    response = browser.get("/find/", {"q": "coa 4471"})
    assert "Certificates" in page_of(response).words
    assert reverse("producer:lot", args=[lot.code]) in response.text


@pytest.mark.parametrize(
    "typed", ["R14", "r-14", "R 14", "kf2533", "KF 2533", "kf–2533"]
)
def test_blanks_and_dashes_in_the_number_of_a_paper_or_a_lot_do_not_matter(
    browser: Client, typed: str
) -> None:
    crew = make.Crew(
        User.objects.get(is_maker=True), User.objects.get(is_reviewer=True)
    )
    lot = make.released_lot(
        crew,
        make.potash(crew.maker),
        supplier_lot="R 14",
        certificate={"reference": "KF-2533"},
    )
    other = make.held_lot(crew, make.potash(crew.maker), supplier_lot="R 15")
    page = browser.get("/find/", {"q": typed}).text
    assert reverse("producer:lot", args=[lot.code]) in page
    assert reverse("producer:lot", args=[other.code]) not in page


def test_a_blank_or_a_dash_alone_finds_no_more_than_itself(browser: Client) -> None:
    crew = make.Crew(
        User.objects.get(is_maker=True), User.objects.get(is_reviewer=True)
    )
    lot = make.held_lot(crew, make.water(crew.maker), supplier_lot="plain")
    # Codes of lots have a dash; the certificates have none.
    assert "Certificates" not in page_of(browser.get("/find/", {"q": "–"})).words
    assert lot.code not in page_of(browser.get("/find/", {"q": "–"})).words


def test_a_container_leads_to_its_lot_and_one_that_is_none_is_said(
    world: World, browser: Client
) -> None:
    Container.objects.create(lot=world.lot, number=2, filled_mg=5)
    response = browser.get("/find/", {"q": f"{world.lot.code}/2".lower()})
    there = reverse("producer:lot", args=[world.lot.code])
    assert response.headers.get("Location") == there
    words = page_of(browser.get("/find/", {"q": f"{world.lot.code}/3"})).words
    assert "was not issued by this premises" in words


@pytest.mark.parametrize("kind", ["lot", "bottle"])
def test_a_wrong_check_character_is_said_and_nothing_is_guessed(
    world: World, browser: Client, kind: str
) -> None:
    _, code = page_and_code(world, kind)
    wrong = code[:-1] + ("2" if code[-1] != "2" else "3")
    for typed in (wrong, wrong.lower(), f"https://soap.example/b/{wrong}/"):
        response = browser.get("/find/", {"q": typed})
        assert response.status_code == 200
        words = page_of(response).words
        assert "a character in it is wrong" in words
        assert "Which was meant cannot be told." in words
        assert "not issued" not in words


def test_an_address_of_any_of_our_pages_leads_to_its_record(
    world: World, browser: Client
) -> None:
    for address in (
        f"https://elsewhere.example/lots/{world.lot.code}/",
        f"HTTP://10.0.0.7:8000/lots/{world.lot.code}/?from=scan#ledger",
    ):
        response = browser.get("/find/", {"q": address})
        there = reverse("producer:lot", args=[world.lot.code])
        assert response.headers.get("Location") == there


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    "sentence",
    [
        "({}).",
        "\ufeff{}\u200b",
        "please look at {}, it leaks",
        "see https://kettle.example/lots/{}/ there",
        "“{}” and once more {}",
    ],
)
def test_a_code_is_found_in_what_was_copied_along(
    world: World, browser: Client, kind: str, sentence: str
) -> None:
    page, code = page_and_code(world, kind)
    printed = grouped(code) if kind == "bottle" else code
    response = browser.get("/find/", {"q": sentence.format(printed, printed)})
    there = reverse(page, args=[code])
    assert (response.status_code, response.headers.get("Location")) == (302, there)


def test_of_two_codes_in_a_sentence_none_is_guessed(
    world: World, browser: Client
) -> None:
    response = browser.get("/find/", {"q": f"{world.lot.code} or {world.held.code}"})
    assert response.status_code == 200


def test_a_word_as_long_as_a_code_is_taken_for_none_in_a_sentence(
    browser: Client,
) -> None:
    word = next(
        code
        for code in (new_bottle_code() for _ in range(10**6))
        if code.isalpha()  # the bottle exists, and the word is not it
    )
    Bottle.objects.filter(pk=Bottle.objects.latest("pk").pk).update(code=word)
    assert browser.get("/find/", {"q": f"{word} at dawn"}).status_code == 200
    assert browser.get("/find/", {"q": word}).status_code == 302


@pytest.mark.parametrize("typed", ["{}/2", "{} no. 2", "{}, bottle no 2", "{} No.2"])
def test_filling_lot_and_number_lead_to_the_bottle(
    world: World, browser: Client, typed: str
) -> None:
    second = world.filling_lot.bottles.get(number=2)
    query = typed.format(world.filling_lot.code)
    there = reverse("quality:bottle", args=[second.code])
    assert browser.get("/find/", {"q": query}).headers.get("Location") == there
    beyond = browser.get("/find/", {"q": query.replace("2", "9")[:-1] + "99"})
    assert beyond.status_code == 200


def test_the_code_of_a_tried_leaf_leads_to_the_batch_it_was_sprayed_with(
    browser: Client,
) -> None:
    tried = PatchTest.objects.latest("pk")
    there = reverse("batches:batch", args=[tried.source.code])
    response = browser.get("/find/", {"q": tried.code.lower()})
    assert response.headers.get("Location") == there


def test_the_address_of_issued_labels_leads_to_their_filling_lot(
    world: World, browser: Client
) -> None:
    issue = world.filling_lot.label_issues.latest("pk")
    address = reverse("batches:label_issue", args=[world.filling_lot.code, issue.pk])
    response = browser.get("/find/", {"q": f"https://kettle.example{address}"})
    there = reverse("batches:filling_lot", args=[world.filling_lot.code])
    assert response.headers.get("Location") == there


@pytest.mark.parametrize("kind", ["lot", "batch", "bottle", "filling lot", "recall"])
def test_where_a_code_leads_the_picture_of_its_flow_is_one_step_on(
    world: World, browser: Client, kind: str
) -> None:
    _, code = page_and_code(world, kind)
    root = {"bottle": world.filling_lot.code, "recall": world.lot.code}.get(kind, code)
    page = browser.get("/find/", {"q": code}, follow=True)
    picture = reverse("quality:flow", args=[root])
    assert f'href="{picture}' in page.text
    assert browser.get(picture).status_code == 200


def test_at_most_ten_of_a_kind_are_listed_and_the_questions_stay_as_many(
    browser: Client,
) -> None:
    maker = User.objects.get(is_maker=True)
    for number in range(2):
        make.supplier(maker, f"Oils of valley {number}")
    browser.get("/find/", {"q": "valley"})
    with CaptureQueriesContext(connection) as few:
        browser.get("/find/", {"q": "valley"})
    for number in range(2, 50):
        make.supplier(maker, f"Oils of valley {number}")
    with CaptureQueriesContext(connection) as many:
        response = browser.get("/find/", {"q": "valley"})
    assert response.text.count('href="/suppliers/') == MOST_HITS
    assert "These are the first 10; there are more." in page_of(response).words
    assert len(many) == len(few)


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


def test_the_first_steps_are_gone_when_there_is_a_batch(
    world: World, browser: Client
) -> None:
    words = page_of(browser.get("/")).words
    assert "The first steps" not in words
    assert world.waiting.number in words


def test_of_a_text_without_end_the_beginning_is_looked_for(browser: Client) -> None:
    page = page_of(browser.get("/find/", {"q": "fenwick" + " x" * 4_000}))
    (field,) = [one for one in page.attributes("input") if one.get("name") == "q"][:1]
    assert len(field.get("value") or "") == LONGEST
