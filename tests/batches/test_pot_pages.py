"""The pages at the pot: what is refused there, and how many questions they ask."""

from __future__ import annotations

import datetime
import uuid
from collections.abc import Callable
from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from batches.models import Batch, Charge
from batches.services import cooking, planning
from batches.services.discounting import set_lye_discount
from producer.models import RawLot
from quality.services import recalling
from tests import leaving, make
from tests.database import row_counts
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


def test_drawing_from_a_lot_that_expired_is_refused_in_a_sentence(
    browser: Client, crew: make.Crew
) -> None:
    batch = make.open_batch(crew)
    make.go_through(crew, batch)
    lot = make.released_lot(
        crew,
        make.sunflower(crew.maker),
        certificate={},
        expires_on=make.TODAY + datetime.timedelta(days=300),
    )
    line = make.line_of(batch, "sunflower oil")
    address = reverse("batches:charge", args=[batch.number, line.position])
    form = {
        "submission": str(uuid.uuid4()),
        "source": str(lot.pk),
        "scale": str(make.scale(crew.maker).pk),
        "gross_mg": "900 g",
        "tare_mg": "100 g",
    }
    RawLot.objects.filter(pk=lot.pk).update(
        expires_on=make.TODAY - datetime.timedelta(days=2),
        received_on=make.TODAY - datetime.timedelta(days=9),
    )
    before = row_counts()
    page = page_of(browser.post(address, form))
    assert "Not recorded yet" in page.words
    assert row_counts() == before
    RawLot.objects.filter(pk=lot.pk).update(
        expires_on=make.TODAY + datetime.timedelta(days=2)
    )
    assert browser.post(address, form).status_code == 302
    assert Charge.objects.get(batch=batch).net_mg == 800_000


def test_a_tare_above_the_gross_is_refused_with_what_was_typed(
    browser: Client, crew: make.Crew
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    address = reverse("batches:weigh", args=[batch.number])
    form = {
        "submission": str(uuid.uuid4()),
        "scale": str(make.scale(crew.maker).pk),
        "gross_mg": "100 g",
        "tare_mg": "900 g",
    }
    before = row_counts()
    page = page_of(browser.post(address, form))
    assert "Not recorded yet" in page.words
    values = {
        one.get("name"): one.get("value")
        for one in page.attributes("input")
        if one.get("name") in {"gross_mg", "tare_mg"}
    }
    assert values == {"gross_mg": "100 g", "tare_mg": "900 g"}
    assert row_counts() == before


# ------------------------------------------------------------------ counted questions


def questions(client: Client, address: str) -> int:
    """Count the queries of a page, asked once before so that nothing is met first."""
    client.get(address)
    with CaptureQueriesContext(
        connection,
    ) as asked:
        assert client.get(address).status_code == 200
    return len(asked)


def more_lots(crew: make.Crew, number: int) -> None:
    for _ in range(number):
        make.held_lot(crew, make.sunflower(crew.maker))


def more_batches(crew: make.Crew, number: int) -> None:
    for _ in range(number):
        make.open_batch(crew)


def more_fillings(crew: make.Crew, number: int) -> None:
    liquid = make.released_liquid(crew)
    for _ in range(number):
        make.filled(crew, liquid, count=1, nominal_ul=20_000)


def more_dispatches(crew: make.Crew, number: int) -> None:
    lot = make.filled(crew, count=number, nominal_ul=50_000)
    to = make.consignee(crew.maker)
    for bottle in make.bottles_of(lot):
        leaving.sent(crew, [bottle], consignee=to)


def more_recalls(crew: make.Crew, number: int) -> None:
    for _ in range(number):
        recalling.open_recall(
            by=crew.reviewer,
            root=make.held_lot(crew, make.sunflower(crew.maker)).stock,
            hazard_class="2",
            reason="tried out",
            public_notice="Keep it.",
            is_mock=True,
        )


More = Callable[[make.Crew, int], None]


@pytest.mark.parametrize(
    ("address", "more"),
    [
        ("/lots/", more_lots),
        ("/batches/", more_batches),
        ("/bottles/", more_fillings),
        ("/dispatches/", more_dispatches),
        ("/recalls/", more_recalls),
        ("/", more_batches),
        ("/", more_lots),
        ("/journal/", more_lots),
        ("/find/?q=sunflower", more_lots),
        ("/find/?q=Kitchen", more_batches),
    ],
)
def test_a_list_of_twenty_asks_no_more_than_a_list_of_two(
    browser: Client, crew: make.Crew, address: str, more: More
) -> None:
    more(crew, 2)
    few = questions(browser, address)
    more(crew, 18)
    assert questions(browser, address) == few


def read(crew: make.Crew, batch: Batch, number: int) -> None:
    for _ in range(number):
        cooking.record_reading(
            by=crew.maker,
            batch=batch,
            characteristic="temperature",
            value=Decimal(60),
            instrument=make.thermometer(crew.maker),
        )
        make.read_ph(crew, batch)


def charge(crew: make.Crew, batch: Batch, number: int) -> None:
    lot = RawLot.objects.listed().filter(material__name="sunflower oil")[0]
    for _ in range(number):
        make.charge(crew, batch, lot.stock, 1_000)


@pytest.mark.parametrize("page", ["batches:batch", "quality:review", "batches:history"])
def test_a_batch_with_twenty_rows_of_each_asks_no_more_than_one_with_two(
    browser: Client, crew: make.Crew, page: str
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    read(crew, batch, 2)
    charge(crew, batch, 2)
    address = reverse(page, args=[batch.number])
    few = questions(browser, address)
    read(crew, batch, 18)
    charge(crew, batch, 18)
    assert questions(browser, address) == few


@pytest.mark.parametrize(
    "page", ["batches:filling_lot", "batches:history", "quality:affected"]
)
def test_pages_about_twenty_bottles_ask_no_more_than_about_two(
    browser: Client, crew: make.Crew, page: str
) -> None:
    liquid = make.released_liquid(crew)
    few, many = (
        make.filled(crew, liquid, count=number, nominal_ul=20_000) for number in (2, 2)
    )
    key = few.code if page == "batches:filling_lot" else liquid.number
    first = questions(browser, reverse(page, args=[key]))
    many = make.filled(crew, liquid, count=20, nominal_ul=20_000)
    key = many.code if page == "batches:filling_lot" else liquid.number
    assert questions(browser, reverse(page, args=[key])) == first


@pytest.mark.parametrize("page", ["quality:bottle"])
def test_the_page_of_a_bottle_asks_no_more_for_more_lots_behind_it(
    browser: Client, crew: make.Crew, page: str
) -> None:
    def bottle_from(lots: int) -> str:
        paste = make.open_batch(crew)
        make.charge_all(crew, paste)
        for _ in range(lots):
            oil = make.released_lot(crew, make.sunflower(crew.maker), certificate={})
            make.charge(crew, paste, oil.stock, 1_000)
        make.complete(crew, paste, ph="9.2")
        released = make.signed(crew.reviewer, paste, "release")
        liquid = make.released_liquid(crew, paste=released)
        return make.bottles_of(make.filled(crew, liquid, count=1))[0].code

    few, many = bottle_from(1), bottle_from(9)
    assert questions(browser, reverse(page, args=[many])) == questions(
        browser, reverse(page, args=[few])
    )


def all_but_potash(crew: make.Crew) -> tuple[Batch, planning.PlanLine]:
    """Return a batch with all but its potash in it, and what is asked of that."""
    batch = make.open_batch(crew)
    lines = batch.formula_version.lines.select_related("material", "source_formula")
    planning.choose_lots(
        by=crew.maker,
        batch=batch,
        choices={line.pk: make.stock_of(crew, line) for line in lines},
    )
    *others, potash = planning.plan_of(batch).lines
    for one in others:
        assert one.source is not None
        assert one.target_mg is not None
        make.charge(crew, batch, one.source, one.target_mg, line=one.line)
    return batch, potash


def weigh_potash(browser: Client, crew: make.Crew, batch: Batch, net_mg: int) -> str:
    """Send the page of the potash line; return what the next page says."""
    line = make.line_of(batch, "potash flakes")
    source = make.stock_of(crew, line)
    form = {
        "submission": str(uuid.uuid4()),
        "source": str(source.pk),
        "scale": str(make.scale(crew.maker).pk),
        "gross_mg": f"{net_mg} mg",
        "tare_mg": "0 g",
        "unusual": "as it came",
    }
    address = reverse("batches:charge", args=[batch.number, line.position])
    return page_of(browser.post(address, form, follow=True)).words


@pytest.mark.parametrize(
    ("share", "said"),
    [("1.009", ""), ("0.991", ""), ("1.02", "more than"), ("0.97", "less than")],
)
def test_potash_off_its_target_of_now_is_told_so(
    browser: Client, crew: make.Crew, share: str, said: str
) -> None:
    batch, potash = all_but_potash(crew)
    assert potash.target_mg is not None
    net = round(potash.target_mg * Decimal(share), -2)
    words = weigh_potash(browser, crew, make.fresh(batch), int(net))
    assert "The charge is recorded." in words
    told = "of potash flakes in all is" in words
    assert told == bool(said)
    assert said in words


def test_a_discount_set_meanwhile_is_seen_in_what_is_said_of_the_potash(
    browser: Client, crew: make.Crew
) -> None:
    batch, potash = all_but_potash(crew)
    set_lye_discount(
        by=crew.maker, batch=batch, discount=Decimal("0.05"), reason="range only"
    )
    assert potash.to_weigh_mg is not None  # as the page showed it before
    words = weigh_potash(browser, crew, make.fresh(batch), potash.to_weigh_mg)
    assert "of potash flakes in all is" in words
    assert "more than the" in words
