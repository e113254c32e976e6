"""The pages at which one weighs: what they fill in, and how many questions they ask."""

from __future__ import annotations

import datetime

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from batches.models import Batch
from batches.services import cooking, planning
from producer.models import RawLot
from producer.services import containers
from tests import lab, make
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db

KG = make.KG
DAY = datetime.timedelta(days=1)


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


def questions(browser: Client, address: str) -> int:
    """Count the queries of a page, asked once before so that nothing is met first."""
    browser.get(address)
    with CaptureQueriesContext(connection) as asked:
        assert browser.get(address).status_code == 200
    return len(asked)


def oil(crew: make.Crew, days: int) -> RawLot:
    return make.released_lot(
        crew, make.sunflower(crew.maker), expires_on=make.TODAY + days * DAY
    )


def test_the_first_in_turn_is_chosen_already(browser: Client, crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    line = make.line_of(batch, "sunflower oil")
    late, early = oil(crew, 300), oil(crew, 100)
    lots = reverse("batches:lots", args=[batch.number])
    form = browser.get(lots).context["form"]
    assert form[f"line_{line.pk}"].value() == early.pk
    paste = make.open_batch(crew, make.liquid_version(crew))
    make.released_paste(crew)
    of_paste = make.line_of(paste, "Kitchen paste")
    form = browser.get(reverse("batches:lots", args=[paste.number])).context["form"]
    assert form[f"line_{of_paste.pk}"].value() is None  # no date: nothing proposed
    # What was chosen stays, on the page of the lots and where it is weighed.
    planning.choose_lots(by=crew.maker, batch=batch, choices={line.pk: late.stock})
    form = browser.get(lots).context["form"]
    assert form[f"line_{line.pk}"].value() == late.pk
    charge = reverse("batches:charge", args=[batch.number, line.position])
    assert browser.get(charge).context["form"]["source"].value() == late.pk


def test_the_reason_for_a_skip_is_asked_for_only_where_one_can_be(
    browser: Client, crew: make.Crew
) -> None:
    batch = make.open_batch(crew)
    make.go_through(crew, batch)
    line = make.line_of(batch, "sunflower oil")
    address = reverse("batches:charge", args=[batch.number, line.position])
    oil(crew, 100)
    oil(crew, 100)
    assert "passed_over" not in browser.get(address).context["form"].fields
    late = oil(crew, 300)
    assert "passed_over" in browser.get(address).context["form"].fields
    form = {
        "submission": "0b0c7f0e-5f0e-4a7b-9a3f-0d6c1f2e3a4b",
        "source": str(late.pk),
        "scale": str(make.scale(crew.maker).pk),
        "gross_mg": "1150 g",
        "tare_mg": "350 g",
    }
    page = page_of(browser.post(address, form))
    assert page.words.count("Take it first, or say why it is left") >= 2
    form["passed_over"] = "behind the press"
    assert browser.post(address, form).status_code == 302
    words = page_of(browser.get(reverse("batches:batch", args=[batch.number]))).words
    assert "An earlier lot was left: behind the press" in words


def test_what_others_mean_to_use_is_told_where_one_chooses_and_weighs(
    browser: Client, crew: make.Crew
) -> None:
    lot = oil(crew, 100)
    other = make.open_batch(crew)
    line = make.line_of(other, "sunflower oil")
    planning.choose_lots(by=crew.maker, batch=other, choices={line.pk: lot.stock})
    batch = make.open_batch(crew)
    said = f"of 5 kg on hand 800 g is meant for {other.number}"
    for name, more in (("lots", []), ("charge", [line.position])):
        mine = reverse(f"batches:{name}", args=[batch.number, *more])
        assert said in page_of(browser.get(mine)).words
        own = reverse(f"batches:{name}", args=[other.number, *more])
        assert said not in page_of(browser.get(own)).words


def many(crew: make.Crew, batch: Batch, number: int) -> None:
    """Weigh in so many charges from a tin."""
    lot = RawLot.objects.listed().filter(containers__isnull=False).distinct().get()
    tin = containers.containers_of(lot)[0]
    for _ in range(number):
        make.charge(
            crew,
            batch,
            lot.stock,
            1_000,
            how=cooking.How(container=tin, passed_over=make.SCENE),
        )


def test_two_hundred_charges_ask_no_more_than_two(
    browser: Client, crew: make.Crew
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    lot = make.released_lot(crew, make.sunflower(crew.maker))
    containers.register(
        by=crew.maker, lot=lot, fillings=containers.alike(count=2, each_mg=2 * KG)
    )
    many(crew, batch, 2)
    pages: dict[str, list[int]] = {
        "batch": [],
        "charge": [1],
        "charge_begin": [1],
        "undo": [],
    }
    addresses = {
        name: reverse(f"batches:{name}", args=[batch.number, *more])
        for name, more in pages.items()
    }
    few = {name: questions(browser, one) for name, one in addresses.items()}
    many(crew, batch, 198)
    assert {name: questions(browser, one) for name, one in addresses.items()} == few


def test_more_half_weighings_ask_no_more_than_two(
    browser: Client, crew: make.Crew
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    address = reverse("batches:batch", args=[batch.number])

    def begun(number: int) -> int:
        for _ in range(number):
            lab.half_weighing(crew, make.fresh(batch))
        return questions(browser, address)

    assert begun(2) == begun(8)
