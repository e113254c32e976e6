"""What a stranger with a bottle in hand is told, and what not."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from batches.models import Bottle, ScanAlert
from batches.services import scans
from producer.codes import grouped, new_bottle_code
from producer.models import Consignee, Person, RawLot, Supplier, User
from quality.models import Recall
from quality.services import recalling
from tests import hands, make
from tests.database import row_counts
from tests.doors import world as worlds
from tests.doors.pages import Page, page_of, text_of
from tests.doors.world import World

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("standing_world")]

# Every view that lets a visitor in, one by one. Add to it only with a reason.
PUBLIC = {
    "producer:set_up",  # nobody can have an account yet; a code guards it
    "producer:sign_in",
    "quality:bottle",  # what the code on a bottle leads to
    "quality:bottle_scanned",  # the same, as the square on the label says it
    "quality:bottle_typed",  # where the code on a bottle is typed in
}
WARNS = "warning-page"


def scan(code: str, *, status: int = 200) -> Page:
    """Open a bottle's address as a stranger does."""
    response = Client().get(f"/b/{code}/")
    assert response.status_code == status
    return page_of(response)


def warnings_on(page: Page) -> int:
    """Count the warnings on a page."""
    return sum(
        attributes.get("class") == WARNS for attributes in page.attributes("section")
    )


def test_public_views_are_those_on_the_list_and_no_others() -> None:
    public = {
        name
        for name, pattern in worlds.url_names().items()
        if getattr(pattern.callback, "login_required", True) is False
    }
    assert public == PUBLIC


def test_signing_out_takes_a_post(world: World) -> None:
    client = Client()
    client.force_login(world.accounts["auditor"])
    assert client.get("/sign-out/").status_code == 405
    assert client.get("/").status_code == 200
    client.post("/sign-out/")
    assert client.get("/").status_code == 302


def test_scenario_34_public_scan(world: World) -> None:
    """A stranger sees product, safety, batch, dates and contact, and nothing else."""
    response = Client().get(f"/b/{world.bottle.code}/")
    words = page_of(response).words
    version = world.released.formula_version
    for shown in (
        version.product_name,
        "250 ml",
        world.released.number,
        grouped(world.bottle.code),
        "Recall none known",
        "Not for skin, hair, food or animals.",
        "Keep out of reach of children.",
        "Do not mix with acids or bleach.",
        "Hollow Beck Soapery",
        "2 Beck Lane, Hollow",
        "555 0100",
    ):
        assert shown in words
    for kept in secrets_of(world):
        assert kept.lower() not in text_of(response).lower()


def secrets_of(world: World) -> set[str]:
    """Return what is nobody's business: people, suppliers, lots, who has the rest."""
    kept = {
        *Person.objects.values_list("name", flat=True),
        *User.objects.values_list("username", flat=True),
        *Supplier.objects.values_list("name", flat=True),
        *Supplier.objects.values_list("phone", flat=True),
        *Consignee.objects.values_list("name", flat=True),
        *Consignee.objects.values_list("phone", flat=True),
        *RawLot.objects.values_list("stock__code", flat=True),
        *RawLot.objects.values_list("supplier_lot", flat=True),
        *RawLot.objects.values_list("material__name", flat=True),
        *Bottle.objects.exclude(pk=world.bottle.pk).values_list("code", flat=True),
        world.filling_lot.code,
        world.dispatch.code,
        world.recall.code,
        world.waiting.number,
        "MOCK",
        "€",
        "£",
        "$",
        "3 bottles",
        "sign out",
    }
    kept -= {""}
    assert len(kept) > 20
    return kept


def test_the_same_address_tells_those_who_are_signed_in_the_whole_history(
    world: World,
) -> None:
    client = Client()
    client.force_login(world.accounts["auditor"])
    words = page_of(client.get(f"/b/{world.bottle.code}/")).words
    for told in (
        "Fenwick Lye and Oil",
        world.lot.code,
        "Mirja Aalto",
        world.filling_lot.code,
        "certificate.pdf",
        "90 %",
    ):
        assert told in words


@pytest.mark.parametrize("typed", ["{0}", "{1}", "{2}", "{3}"])
def test_a_code_may_be_typed_with_or_without_hyphens_in_either_case(
    world: World, typed: str
) -> None:
    code = world.bottle.code
    ways = (code.lower(), grouped(code), grouped(code).lower(), grouped(code) + "%20")
    assert grouped(code) in scan(typed.format(*ways)).words


def test_scenario_11_unknown_bottle(world: World) -> None:
    """A well-formed code that was never issued: told so, nothing made or leaked."""
    scans.forget()
    before, code = row_counts(), new_bottle_code()
    page = scan(code, status=404)
    assert "was not issued by us" in page.words
    assert "do not use it" in page.words
    assert "555 0100" in page.words
    for kept in secrets_of(world) | {world.bottle.code, world.released.number}:
        assert kept.lower() not in page.words.lower()
    assert row_counts() == before
    scans.flush()  # the attempt is noted inside, with nothing of who made it
    alert = ScanAlert.objects.get(code=code)
    assert (alert.kind, alert.count, alert.seen_by) == ("unknown", 1, None)


def test_codes_cannot_be_guessed_by_counting(world: World) -> None:
    codes = list(Bottle.objects.values_list("code", flat=True))
    assert len({code[:4] for code in codes}) == len(codes)
    assert codes != sorted(codes) or codes != sorted(codes, reverse=True)


def test_a_mistyped_code_is_told_from_one_that_is_not_ours(world: World) -> None:
    code = world.bottle.code
    wrong = ("3" if code[0] != "3" else "4") + code[1:]
    page = scan(wrong, status=404)
    assert "A character is wrong or missing" in page.words
    assert "issued by us" not in page.words
    assert world.released.number not in page.words


@pytest.mark.parametrize("junk", ["%20", "a" * 3000, "<script>", "..%5c", "١٢٣", "é"])
def test_junk_after_the_slash_is_a_mistyped_code(world: World, junk: str) -> None:
    assert "not a bottle code" in scan(junk, status=404).words


def test_scenario_12_a_destroyed_bottle_that_turns_up_is_a_warning(
    world: World,
) -> None:
    move(world, "destroyed", by="maker")
    page = scan(world.bottle.code)
    assert warnings_on(page) == 1
    assert "should not exist" in page.words


def test_a_bottle_on_hold_is_not_to_be_used(world: World) -> None:
    assert warnings_on(scan(world.bottle.code)) == 0
    move(world, "on_hold", by="reviewer")
    page = scan(world.bottle.code)
    assert warnings_on(page) == 1
    assert "do not use this bottle for now" in page.words


def move(world: World, new: str, *, by: str) -> None:
    hands.moved(world.accounts[by], world.bottle, new, "looked at it")


def test_a_recall_warns_on_each_affected_bottle_at_once(world: World) -> None:
    recall = open_recall(world)
    for code in Bottle.objects.values_list("code", flat=True):
        page = scan(code)
        assert warnings_on(page) == 1
        assert "Pour nothing out, bring it back." in page.words
        assert recall.code in page.words
        assert "none known" not in page.words
        assert "glass splinters in the tin" not in page.words  # for the record only


def test_a_closed_recall_is_still_told(world: World) -> None:
    recall = open_recall(world)
    crew = make.Crew(world.accounts["maker"], world.accounts["reviewer"])
    hands.closed(crew, recall, "all came back")
    page = scan(world.bottle.code)
    assert "This bottle was recalled" in page.words
    assert "came back" not in page.words


def test_a_mock_recall_shows_nothing(world: World) -> None:
    assert world.recall.is_mock
    assert warnings_on(scan(world.bottle.code)) == 0


def open_recall(world: World) -> Recall:
    return recalling.open_recall(
        by=world.accounts["reviewer"],
        root=world.lot.stock,
        hazard_class="1",
        reason="glass splinters in the tin",
        public_notice="Pour nothing out, bring it back.",
    )


def test_a_spray_carries_the_cautions_of_a_spray(world: World) -> None:
    crew = make.Crew(world.accounts["maker"], world.accounts["reviewer"])
    spray = make.filled(
        crew,
        make.released_liquid(crew, make.spray_version(crew)),
        count=1,
        nominal_ul=250_000,
    )
    words = scan(spray.bottles.get().code).words
    assert "your own, on your own land, at your own risk" in words
    assert "Test one leaf, wait 24 to 48 hours." in words
    assert "on plants" not in scan(world.bottle.code).words.lower()


def test_a_visitor_is_shown_no_door_to_the_inside(world: World) -> None:
    inside: set[Any] = {
        reverse(name) for name in ("quality:today", "producer:lots", "quality:find")
    }
    page = scan(world.bottle.code)
    links = {attributes.get("href") for attributes in page.attributes("a")}
    assert not links & inside
    assert not page.attributes("form")
