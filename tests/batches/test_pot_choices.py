"""What the pages at the pot offer to choose from, and what they say before the end."""

from __future__ import annotations

import datetime
import re
import uuid
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches.forms.making import sources_for
from batches.models import Discrepancy
from batches.services import cooking
from producer.errors import Refusal
from producer.models import Instrument, RawLot
from quality.services import checking
from tests import make
from tests.database import row_counts
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


def failed_check(crew: make.Crew) -> None:
    """Let the only scale fail its check."""
    checking.record_check(
        by=crew.maker,
        instrument=make.scale(crew.maker),
        held=checking.Known(
            against="500 g", reference=Decimal(500), shown=Decimal(520)
        ),
        tolerance=Decimal(2),
    )


@pytest.mark.parametrize("name", ["charge", "weigh", "correct", "titrate"])
def test_without_a_scale_in_use_the_form_says_which_failed(
    browser: Client, crew: make.Crew, name: str
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    oil = RawLot.objects.get(material__name="sunflower oil")
    address = {
        "charge": reverse("batches:charge", args=[batch.number, 1]),
        "weigh": reverse("batches:weigh", args=[batch.number]),
        "correct": reverse("batches:correct", args=[batch.number, oil.code]),
        "titrate": reverse("batches:titrate", args=[batch.number, "free_alkali"]),
    }[name]
    said = "None is in use. Out of use: bench scale."
    assert said not in page_of(browser.get(address)).words
    failed_check(crew)
    page = page_of(browser.get(address))
    assert said in page.words
    assert "none in use" in page.words
    sent = {"submission": str(uuid.uuid4()), "gross_mg": "9 g", "tare_mg": "1 g"}
    before = row_counts()
    refused = page_of(browser.post(address, sent))
    assert "Not recorded yet" in refused.words
    assert refused.words.count(said) >= 2  # beside the field and in the summary
    stale = {**sent, "scale": str(make.scale(crew.maker).pk)}
    assert "just have failed its check" in page_of(browser.post(address, stale)).words
    assert row_counts() == before


def test_a_thermometer_that_failed_is_not_offered(
    browser: Client, crew: make.Crew
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    address = reverse("batches:read", args=[batch.number, "temperature"])
    assert "None is registered yet" in page_of(browser.get(address)).words
    probe = make.thermometer(crew.maker)
    assert probe.name in page_of(browser.get(address)).words
    Instrument.objects.filter(pk=probe.pk).update(in_use=False)
    assert "Out of use: pot probe" in page_of(browser.get(address)).words


# --------------------------------------------------- what may be drawn from


def test_a_lot_without_a_date_comes_after_those_with_one(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    line = make.line_of(batch, "sunflower oil")
    assert line.material is not None
    days = [None, 300, 100, None]
    lots = [
        make.released_lot(
            crew,
            line.material,
            expires_on=day and make.TODAY + datetime.timedelta(days=day),
        )
        for day in days
    ]
    offered = [stock.pk for stock in sources_for(line, make.TODAY)]
    assert offered == [lots[place].pk for place in (2, 1, 0, 3)]


def test_a_paste_with_a_lot_on_hold_in_it_says_so_where_it_is_chosen(
    browser: Client, crew: make.Crew
) -> None:
    good = make.released_paste(crew)
    RawLot.objects.all().update(status="quarantine")  # so that the next has its own
    bad = make.released_paste(crew)
    RawLot.objects.filter(status="quarantine").update(status="released")
    lot = RawLot.objects.get(
        pk__in=bad.charges.values("source"), material__name="sunflower oil"
    )
    RawLot.objects.filter(pk=lot.pk).update(status="on_hold")
    liquid = make.open_batch(crew, make.liquid_version(crew))
    line = make.line_of(liquid, "Kitchen paste")
    warning = f"DO NOT USE: {lot.code} in it is on hold"
    for address in (
        reverse("batches:lots", args=[liquid.number]),
        reverse("batches:charge", args=[liquid.number, line.position]),
    ):
        page = browser.get(address).content.decode()
        labels = re.findall(r"<option[^>]*>([^<]*)</option>", page)
        told = {
            paste.number: warning in label
            for label in labels
            for paste in (good, bad)
            if paste.number in label
        }
        assert told == {good.number: False, bad.number: True}


# --------------------------------------------------- before finishing


def test_the_page_of_finishing_lists_what_stands_open_before_its_button(
    browser: Client, crew: make.Crew
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    make.weigh_bulk(crew, batch, share="1.1")
    address = reverse("batches:finish", args=[batch.number])
    html = browser.get(address).content.decode()
    words = page_of(browser.get(address)).words
    for sentence in (
        "No pH is recorded",
        "No clarity test is recorded",
        "More came out than went in, by 10.0 %",
    ):
        assert sentence in words
    assert html.index("Still open") < html.index("Finish it</button>")
    sent = {"submission": str(uuid.uuid4())}
    assert browser.post(address, sent).status_code == 302


def test_what_stops_the_finishing_itself_is_said_and_no_longer_that_it_can_be(
    browser: Client, crew: make.Crew
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    address = reverse("batches:finish", args=[batch.number])
    words = page_of(browser.get(address)).words
    assert "It cannot be finished. Weigh what came out of the batch" in words
    assert "It can be finished all the same" not in words
    make.weigh_bulk(crew, batch)
    assert "It can be finished all the same" in page_of(browser.get(address)).words
    Discrepancy.objects.create(
        batch=batch,
        kind="charge",
        sent={"title": "Weigh water", "net_mg": 0},
        refused="the batch was finished",
        observed_at=timezone.now(),
        entered_by=crew.maker,
    )
    words = page_of(browser.get(address)).words
    assert "It cannot be finished. An entry was made without network" in words
    assert "It can be finished all the same" not in words
    with pytest.raises(Refusal, match="does not fit the book"):
        cooking.finish(by=crew.maker, batch=batch)


def test_with_all_results_in_there_is_nothing_open(
    browser: Client, crew: make.Crew
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    make.read_ph(crew, batch)
    make.read_clarity(crew, batch)
    make.weigh_bulk(crew, batch)
    words = page_of(browser.get(reverse("batches:finish", args=[batch.number]))).words
    assert "Still open" not in words
