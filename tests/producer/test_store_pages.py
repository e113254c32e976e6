"""Pages of the store: containers, stock-takes, what there is and how long it lasts."""

from __future__ import annotations

import datetime
import uuid
from typing import Any

import pypdfium2
import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches.models import ContainerWeighing
from producer.models import Container, RawLot, Stock, StockCount, StockMovement
from producer.services import containers, stock
from tests import make
from tests.doors.pages import field_value, page_of

pytestmark = pytest.mark.django_db

KG = make.KG


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


@pytest.fixture
def potash(crew: make.Crew) -> RawLot:
    return make.released_lot(crew, make.potash(crew.maker), quantity_mg=2 * KG)


def sent(**fields: Any) -> dict[str, Any]:
    return {"submission": str(uuid.uuid4()), **fields}


def words(browser: Client, name: str, *arguments: Any, query: str = "") -> str:
    return page_of(browser.get(reverse(name, args=arguments) + query)).words


def test_containers_are_registered_and_stand_on_the_page_of_the_lot(
    browser: Client, crew: make.Crew, potash: RawLot
) -> None:
    address = reverse("producer:containers", args=[potash.code])
    assert "Not in one yet 2 kg" in page_of(browser.get(address)).words
    facts = sent(count="2", each_mg="0,9 kg", tare_mg="120 g", place="cupboard")
    page = page_of(browser.post(address, facts, follow=True))
    assert f"Write on them: {potash.code}/1, {potash.code}/2." in page.words
    assert f"200 g of {potash.code} is in no container" in page.words
    assert "200 g of the lot is in no container" in page.words
    assert "tare 120 g, cupboard Where did it go? 900 g not yet never" in page.words
    change = reverse("producer:container_change", args=[potash.code, 2])
    assert field_value(page_of(browser.get(change)), "tare_mg") == "120 g"
    facts = sent(place="by the door", tare_mg="121,5")
    page = page_of(browser.post(change, facts, follow=True))
    assert "tare 121.5 g, by the door Where did it go? 900 g" in page.words


def test_two_and_five_are_two_cans_of_five_kilograms(
    browser: Client, crew: make.Crew
) -> None:
    lot = make.released_lot(crew, make.potash(crew.maker), quantity_mg=10 * KG)
    address = reverse("producer:containers", args=[lot.code])
    assert "is_little" not in browser.get(address).text
    page = page_of(browser.post(address, sent(count="2", each_mg="5 g")))
    assert "hold 10 g together, 5 g in the first, and 10 kg of" in page.words
    assert "It is right: they hold no more than that" in page.words
    assert not Container.objects.exists()
    facts = sent(count="1", each_mg="5 g", is_little="on")
    browser.post(address, facts)
    change = reverse("producer:container_change", args=[lot.code, 1])
    browser.post(change, sent(place="", filled_mg="5", reason="grams by mistake"))
    browser.post(address, sent(count="1", each_mg="5"))
    assert [one.book_mg for one in containers.containers_of(lot)] == [5 * KG] * 2
    stock.dispose(
        by=crew.maker,
        lot=lot,
        amount_mg=5,
        reason="spilt",
        container=Container.objects.get(number=1),
    )
    assert "In it when it was registered" not in browser.get(change).text


def test_a_container_is_weighed_at_its_opening_and_its_series_is_shown(
    browser: Client, crew: make.Crew, potash: RawLot
) -> None:
    containers.register(
        by=crew.maker, lot=potash, fillings=containers.alike(count=2, each_mg=KG)
    )
    address = reverse("batches:container", args=[potash.code])
    first = Container.objects.get(number=1)
    page = page_of(browser.get(address + "?container=1"))
    assert f"{potash.code}/1 1 kg in the book, tare not known" in page.words
    scale = make.scale(crew.maker).pk
    for gross in ("1,15 kg", "1,16 kg"):
        facts = sent(scale=scale, container=first.pk, gross_mg=gross, opening="on")
        page = page_of(browser.post(address, facts, follow=True))
    assert "1.15 kg → 1.16 kg" in page.words
    assert "Hold and retest: 1.01 kg on the scale, 1 kg in the book" in page.words
    first.refresh_from_db()
    assert first.opened_at is not None
    row = ContainerWeighing.objects.current().latest("pk")
    amend = reverse("batches:container_amend", args=[potash.code, row.pk])
    facts = sent(gross_mg="1,15 kg", reason="misread")
    page = page_of(browser.post(amend, facts, follow=True))
    assert "Agrees: 1 kg on the scale, 1 kg in the book" in page.words


def test_goods_come_in_in_containers(browser: Client, crew: make.Crew) -> None:
    facts = {
        "material": make.potash(crew.maker).pk,
        "supplier": make.supplier(crew.maker).pk,
        "supplier_lot": "K-1",
        "quantity_mg": "3",
        "received_on": timezone.now().date().isoformat(),
    }
    address = reverse("producer:lot_receive")
    page = page_of(browser.post(address, sent(**facts, containers="3"), follow=True))
    lot = RawLot.objects.get()
    assert f"Write {lot.code}/1 to /3 on the containers. The lot is held" in page.words
    assert [one.book_mg for one in containers.containers_of(lot)] == [KG] * 3
    facts |= {"containers": "2", "each_mg": "1"}
    page = page_of(browser.post(address, sent(**facts), follow=True))
    assert "1 kg of L26" in page.words or "is in no container" in page.words
    facts |= {"containers": "4"}
    page = page_of(browser.post(address, sent(**facts)))
    assert "These containers hold 4 kg together, but only 3 kg" in page.words
    facts |= {"containers": "1", "each_mg": ""}
    page = page_of(browser.post(address, sent(**facts), follow=True))
    assert "/1 on the containers." in page.words


def test_a_disposal_is_of_one_container_with_its_cautions(
    browser: Client, crew: make.Crew, potash: RawLot
) -> None:
    first, _ = containers.register(
        by=crew.maker, lot=potash, fillings=containers.alike(count=2, each_mg=KG)
    )
    address = reverse("producer:lot_dispose", args=[potash.code])
    page = page_of(browser.get(address))
    assert "Potash goes to hazardous waste collection" in page.words
    assert "Causes severe skin burns" in page.words
    facts = sent(amount_mg="1 kg", reason="wet through")
    page = page_of(browser.post(address, facts))
    assert "Say which container it was" in page.words
    browser.post(address, {**facts, **sent(container=first.pk)})
    assert [one.book_mg for one in containers.containers_of(potash)] == [0, KG]


# ------------------------------------------------------------------ stock-take


NEW = "producer:stock_take_new"


def test_the_book_is_not_shown_before_a_count_is_written(
    browser: Client, crew: make.Crew, potash: RawLot
) -> None:
    oil = make.held_lot(crew, make.sunflower(crew.maker), quantity_mg=7 * KG)
    page = words(browser, NEW)
    assert potash.code in page
    assert oil.code in page
    assert "2 kg" not in page
    assert "7 kg" not in page
    count, reason = f"counted_{potash.pk}_0", f"reason_{potash.pk}_0"
    said = sent(**{count: "1,9 kg", f"counted_{oil.pk}_0": "7 kg"})
    page = page_of(browser.post(reverse(NEW), said)).words
    assert "The book says 2 kg; 100 g less was counted. Say why, or count again" in page
    assert "Potash is missing" in page
    assert "may have to be reported" in page
    assert "The rules differ by place" in page
    assert not StockCount.objects.exists()
    said |= {reason: "spilt by the stove"}
    page = page_of(browser.post(reverse(NEW), said, follow=True)).words
    assert "The stock-take is recorded" in page
    assert "Potash is missing" in page
    assert "spilt by the stove" in page
    assert "agrees" in page
    assert Stock.objects.get(pk=potash.pk).on_hand_mg == 1_900_000
    listed = words(browser, "producer:stock_takes")
    assert "No. " in listed
    assert " 2 1 Mirja Aalto" in listed
    acts = words(browser, "producer:journal", query=f"?on={oil.code}")
    assert "stock taken" in acts


def test_empty_means_not_counted_and_nothing_at_all_is_refused(
    browser: Client, crew: make.Crew, potash: RawLot
) -> None:
    oil = make.held_lot(crew, make.sunflower(crew.maker))
    said = sent(**{f"counted_{potash.pk}_0": "", f"counted_{oil.pk}_0": ""})
    page = page_of(browser.post(reverse(NEW), said)).words
    assert "Nothing was counted yet" in page
    said = sent(**{f"counted_{potash.pk}_0": "2 kg", f"counted_{oil.pk}_0": ""})
    browser.post(reverse(NEW), said)
    assert StockCount.objects.get().stock_id == potash.pk


def test_a_mass_that_cannot_be_read_is_asked_about(
    browser: Client, potash: RawLot
) -> None:
    said = sent(**{f"counted_{potash.pk}_0": "two kilos"})
    page = page_of(browser.post(reverse(NEW), said)).words
    assert "Not recorded yet" in page
    assert not StockCount.objects.exists()


def test_a_lot_used_up_while_it_was_counted_is_not_dropped_in_silence(
    browser: Client, crew: make.Crew, potash: RawLot
) -> None:
    page = page_of(browser.get(reverse(NEW)))
    began = field_value(page, "after_movement")
    stock.dispose(by=crew.maker, lot=potash, amount_mg=2 * KG, reason="wet")
    said = sent(
        **{
            "after_movement": began,
            f"counted_{potash.pk}_0": "2 kg",
            f"reason_{potash.pk}_0": "on the shelf",
        }
    )
    page = page_of(browser.post(reverse(NEW), said))
    assert "has moved since it was counted" in page.words
    assert StockMovement.objects.filter(kind="adjustment").count() == 0


def test_one_lot_and_what_should_be_empty_can_be_counted_too(
    browser: Client, crew: make.Crew, potash: RawLot
) -> None:
    oil = make.held_lot(crew, make.sunflower(crew.maker))
    one = words(browser, NEW, query=f"?lot={oil.code}")
    assert oil.code in one
    assert potash.code not in one
    stock.dispose(by=crew.maker, lot=oil, amount_mg=5 * KG, reason="rancid")
    assert oil.code not in words(browser, NEW)
    assert oil.code in words(browser, NEW, query="?all=1")


def test_the_list_to_take_along_has_codes_places_and_no_book(
    browser: Client, crew: make.Crew, potash: RawLot
) -> None:
    containers.register(
        by=crew.maker,
        lot=potash,
        fillings=containers.alike(count=1, each_mg=1_777_000, place="cupboard"),
    )
    answer = browser.get(reverse("producer:stock_list_pdf"))
    assert answer["Content-Type"] == "application/pdf"
    document = pypdfium2.PdfDocument(answer.content)
    pages = [page.get_textpage().get_text_bounded() for page in document]
    text = " ".join(" ".join(pages).split())
    assert f"{potash.code}/1" in text
    assert "cupboard" in text
    assert "outside its containers" in text
    assert "1777" not in text
    assert "1.777" not in text


# ------------------------------------------------------------------ store


def test_the_store_tells_what_there_is_and_how_long_it_lasts(
    browser: Client, crew: make.Crew
) -> None:
    oil = make.sunflower(crew.maker)
    early = make.TODAY - datetime.timedelta(days=200)
    lot = make.released_lot(crew, oil, quantity_mg=10 * KG, received_on=early)
    soon = make.released_lot(
        crew,
        oil,
        quantity_mg=4 * KG,
        received_on=early,
        expires_on=make.TODAY + datetime.timedelta(days=9),
        place="larder",
    )
    make.held_lot(crew, make.coconut(crew.maker), quantity_mg=KG)
    stock.move(
        by=crew.maker,
        stock=lot.stock,
        kind=StockMovement.Kind.DRAW,
        amount_mg=-9 * KG,
        observed_at=timezone.now(),
    )
    page = words(browser, "batches:store")
    assert "20 days At 100 g a day, the mean of the last 90 days." in page
    assert "3 kg cannot be used before its last day." in page
    assert page.index(soon.code) < page.index(lot.code)
    assert "larder" in page
    assert "no forecast Nothing was used in today." in page
    assert "1 kg held or on hold" in page
    first = words(browser, "batches:store", query="?sort=days")
    assert first.index("sunflower oil") < first.index("coconut oil")
    last = words(browser, "batches:store", query="?sort=-days")
    assert last.index("coconut oil") < last.index("sunflower oil")
    assert "coconut oil 1 kg on hand" in page
    by_day = words(browser, "batches:store", query="?sort=lots")
    assert by_day.index("sunflower oil") < by_day.index("coconut oil")
    by_day = words(browser, "batches:store", query="?sort=-lots")
    assert by_day.index("coconut oil") < by_day.index("sunflower oil")
    for column in ("material", "usable", "reserved"):
        assert (
            browser.get(reverse("batches:store"), {"sort": column}).status_code == 200
        )


def test_lots_are_found_by_where_they_or_their_containers_are_kept(
    browser: Client, crew: make.Crew, potash: RawLot
) -> None:
    oil = make.held_lot(crew, make.sunflower(crew.maker), place="larder, top")
    containers.register(
        by=crew.maker,
        lot=potash,
        fillings=containers.alike(count=1, each_mg=KG, place="Cupboard"),
    )
    found = words(browser, "producer:lots", query="?place=cupboard")
    assert potash.code in found
    assert oil.code not in found
    found = words(browser, "producer:lots", query="?place=TOP")
    assert oil.code in found
    assert potash.code not in found
