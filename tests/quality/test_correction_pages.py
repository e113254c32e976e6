"""The pages of corrections and losses: doses, cautions, and ways to weigh."""

from __future__ import annotations

import re
import uuid
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from batches.models import Batch, Charge
from producer.models import Instrument, RawLot
from tests import make
from tests.database import row_counts
from tests.doors.pages import Page, page_of
from tests.quality.overdosed import citric, fine_scale, pot

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


def correction_page(browser: Client, batch: Batch, query: str = "") -> Page:
    response = browser.get(reverse("quality:correction", args=[batch.number]) + query)
    assert response.status_code == 200
    return page_of(response)


def test_the_page_shows_doses_cautions_and_a_way_to_weigh(
    browser: Client, crew: make.Crew
) -> None:
    fine_scale(crew)
    acid = citric(crew)
    batch = pot(crew)
    page = correction_page(browser, batch)
    assert "13.5 ±" in page.words
    assert "Never undiluted acid together with potash" in page.words
    links = [one["href"] for one in page.attributes("a") if "href" in one]
    address = reverse("batches:correct", args=[batch.number, acid.code])
    assert f"{address}?share=90" in links
    half = correction_page(browser, batch, "?share=50")
    assert "At 50 % of the computed dose" in half.words


@pytest.mark.parametrize("share", ["0", "101", "ninety", "", "9" * 400, "-5", "²"])
def test_a_share_that_cannot_be_is_said_beside_its_field(
    browser: Client, crew: make.Crew, share: str
) -> None:
    fine_scale(crew)
    batch = pot(crew)
    page = correction_page(browser, batch, f"?share={share}")
    wrong = [one for one in page.attributes("div") if "wrong" in one.get("class", "")]
    assert wrong
    assert "At 90 % of the computed dose" in page.words


def test_a_correction_is_weighed_in_from_its_page(
    browser: Client, crew: make.Crew
) -> None:
    scale, acid = fine_scale(crew), citric(crew)
    batch = pot(crew)
    address = reverse("batches:correct", args=[batch.number, acid.code])
    page = page_of(browser.get(f"{address}?share=50"))
    assert re.search(r"To weigh at 50 % .*7\.\d+ g", page.words)
    form = {
        "submission": str(uuid.uuid4()),
        "scale": str(scale.pk),
        "gross_mg": "17,7 g",
        "tare_mg": "10 g",
        "reason": "",
    }
    before = row_counts()
    assert "This is needed" in page_of(browser.post(address, form)).words
    assert row_counts() == before
    assert browser.post(address, {**form, "reason": "0.5 % alkali"}).status_code == 302
    row = Charge.objects.get(batch=batch, line=None)
    assert (row.net_mg, row.reason) == (7_700, "0.5 % alkali")


@pytest.mark.parametrize("share", ["nonsense", "500", "9" * 500])
def test_the_dose_on_the_page_of_weighing_is_clamped(
    browser: Client, crew: make.Crew, share: str
) -> None:
    fine_scale(crew)
    acid, batch = citric(crew), pot(crew)
    address = reverse("batches:correct", args=[batch.number, acid.code])
    response = browser.get(f"{address}?share={share}")
    assert response.status_code == 200
    assert "of the computed dose" in page_of(response).words


def test_what_corrects_nothing_has_no_page_to_weigh_it_in(
    browser: Client, crew: make.Crew
) -> None:
    batch = pot(crew)
    water = RawLot.objects.get(material__name="distilled water")
    address = reverse("batches:correct", args=[batch.number, water.code])
    assert browser.get(address).status_code == 404


def test_a_loss_is_recorded_corrected_and_taken_back_by_its_pages(
    browser: Client, crew: make.Crew
) -> None:
    batch = pot(crew)
    home = reverse("batches:batch", args=[batch.number])
    form = {
        "submission": str(uuid.uuid4()),
        "kind": "spill",
        "mass_mg": "30 g",
        "half_width_mg": "",
        "note": "on the hob",
    }
    address = reverse("batches:loss", args=[batch.number])
    assert browser.get(address).status_code == 200
    assert browser.post(address, form).headers["Location"] == home
    page = page_of(browser.get(home))
    assert "on the hob" in page.words
    pk = batch.losses.get().pk
    amend = reverse("batches:loss_amend", args=[batch.number, pk])
    facts = {**form, "mass_mg": "40 g", "half_width_mg": "5 g", "reason": "weighed"}
    assert browser.post(amend, facts).status_code == 302
    assert "40 g ± 5 g" in page_of(browser.get(home)).words
    newest = batch.losses.latest("pk").pk
    void = reverse("batches:loss_void", args=[batch.number, newest])
    assert "40 g" in page_of(browser.get(void)).words
    sent = {"submission": str(uuid.uuid4()), "reason": "it was scraped off"}
    assert browser.post(void, sent).status_code == 302
    assert "taken back" in page_of(browser.get(home)).words


def test_the_batch_and_review_pages_show_what_came_out(
    browser: Client, crew: make.Crew
) -> None:
    paste = make.released_paste(crew)
    liquid = make.diluted_batch(crew, paste=paste)
    for batch in (paste, liquid):
        for name in ("batches:batch", "quality:review"):
            words = page_of(browser.get(reverse(name, args=[batch.number]))).words
            assert "What came out" in words
            assert re.search(r"Soap content \d+\.\d+ ± \d+\.\d+ %", words)
            assert "Where the ± of the soap content comes from" in words


def test_a_dose_of_a_gram_or_more_is_never_told_in_milligrams(
    browser: Client, crew: make.Crew
) -> None:
    fine_scale(crew, resolution=Decimal("0.001"))
    Instrument.objects.exclude(name="letter scale").update(in_use=False)
    citric(crew, quantity_mg=1_234_567)
    batch = pot(crew)
    for share in (8, 10, 50, 90):  # 1.2 g of citric acid and up
        page = correction_page(browser, batch, f"?share={share}")
        assert not re.search(r"\d{4} ?mg|\d \d{3} mg", page.words)
        assert re.search(r"\d g", page.words)
