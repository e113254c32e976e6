"""How often the entries of a batch were corrected: counted once, shown everywhere."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from batches.models import Batch, Charge, Loss, Reading
from batches.services import cooking, losses, titrating
from batches.services.corrections import counted, counts_of, in_words
from quality.documents.batch_sheet import batch_sheet_pdf
from quality.documents.recalls import list_pdf
from quality.services.recall_affected import affected_by
from tests import lab, make
from tests.doors.pages import Page, page_of
from tests.quality.test_batch_sheet import pages_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.reviewer)
    return client


def amend(crew: make.Crew, batch: Batch, times: int = 1) -> None:
    """Amend the first charge so often, each time from its newest version."""
    for _ in range(times):
        row = Charge.objects.current().filter(batch=batch).earliest("pk")
        cooking.amend_charge(
            by=crew.maker,
            charge=row,
            gross_mg=row.gross_mg + 100,
            tare_mg=row.tare_mg,
            reason="misread",
        )


def page(browser: Client, name: str, *arguments: object) -> Page:
    return page_of(browser.get(reverse(name, args=arguments)))


def test_every_kind_of_entry_counts_corrected_or_taken_back(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    loss = losses.record_loss(
        by=crew.maker, batch=batch, kind=Loss.Kind.SPILL, mass_mg=20_000
    )
    make.complete(crew, batch)
    assert counts_of([batch.pk]) == {batch.pk: 0}
    amend(crew, batch)
    assert counts_of([batch.pk]) == {batch.pk: 1}
    reading = Reading.objects.get(batch=batch, characteristic="ph")
    cooking.amend_reading(
        by=crew.maker,
        reading=reading,
        value=Decimal("9.3"),
        method=reading.method,
        reason="misread",
    )
    assert counts_of([batch.pk]) == {batch.pk: 2}
    weighing = batch.bulk_weighings.get()
    cooking.amend_bulk(
        by=crew.maker,
        weighing=weighing,
        gross_mg=weighing.gross_mg - 1000,
        tare_mg=weighing.tare_mg,
        reason="misread",
    )
    assert counts_of([batch.pk]) == {batch.pk: 3}
    losses.amend_loss(by=crew.maker, loss=loss, reason="scraped off", void=True)
    assert counts_of([batch.pk]) == {batch.pk: 4}
    titration = lab.free_alkali(crew, batch)
    titrating.take_back_titration(by=crew.maker, titration=titration, reason="spilled")
    assert counts_of([batch.pk]) == {batch.pk: 5}


def test_a_batch_counts_its_own_corrections_only(crew: make.Crew) -> None:
    one, other = make.cooked_batch(crew), make.cooked_batch(crew)
    amend(crew, one, 3)
    assert counts_of([one.pk, other.pk]) == {one.pk: 3, other.pk: 0}
    assert {row.pk: row.corrected for row in counted(Batch.objects.all())} == {
        one.pk: 3,
        other.pk: 0,
    }


@pytest.mark.any_engine
def test_the_count_in_words() -> None:
    words = [in_words(number) for number in (0, 1, 2)]
    assert words == ["", "corrected once", "corrected 2 times"]


def test_pages_of_a_batch_say_how_often_it_was_corrected(
    crew: make.Crew, browser: Client
) -> None:
    batch = make.cooked_batch(crew)
    for name in ("batches:batch", "quality:review"):
        assert "corrected" not in page(browser, name, batch.number).words, name
    amend(crew, batch, 2)
    for name in ("batches:batch", "quality:review"):
        assert "corrected 2 times" in page(browser, name, batch.number).words, name
    (row,) = [
        words
        for words in page(browser, "batches:batches").words.split("B26-")
        if "corrected 2 times" in words
    ]
    assert batch.number.endswith(row.split()[0])


def test_lists_and_the_bottle_page_say_it_too(crew: make.Crew, browser: Client) -> None:
    batch = make.cooked_batch(crew)
    amend(crew, batch, 2)
    paste = make.signed(crew.reviewer, batch, "release")
    lot = make.filled(crew, make.released_liquid(crew, paste=paste))
    bottle = make.bottles_of(lot)[0]
    for name, argument in (
        ("quality:bottle", bottle.code),
        ("quality:affected", paste.number),
    ):
        said = page(browser, name, argument).words
        assert said.count("corrected 2 times") == 1, name
        assert "as entered" in said, name


def test_prints_say_it_too(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    sheet = " ".join(pages_of(batch_sheet_pdf(batch, printed_by="Mirja Aalto")))
    assert "No entry of this batch was corrected" in sheet
    amend(crew, batch, 2)
    first, second = pages_of(batch_sheet_pdf(batch, printed_by="Mirja Aalto"))
    for sheet in (first, second):
        assert "Entries of this batch: corrected 2 times" in sheet
    paste = make.signed(crew.reviewer, batch, "release")
    listed = pages_of(
        list_pdf(affected_by(paste.stock), None, printed_by="Mirja Aalto")
    )
    assert "corrected 2 times" in " ".join(listed)


def test_the_list_of_twenty_batches_asks_no_more_than_that_of_two(
    crew: make.Crew, browser: Client
) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as questions:
            assert browser.get(reverse("batches:batches")).status_code == 200
        return len(questions)

    for _ in range(2):
        make.open_batch(crew)
    asked()  # what is kept between requests is kept now
    two = asked()
    for _ in range(18):
        make.open_batch(crew)
    assert Batch.objects.count() == 20
    assert asked() == two
