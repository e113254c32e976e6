"""How a charge was weighed is told on each page that a reviewer reads."""

from __future__ import annotations

import datetime
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches.models import Batch
from batches.services import cooking, transcribing
from batches.services.cooking.how import How
from producer.models import User
from tests import make, uploads
from tests.batches.test_by_difference import oil_in_tins
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def batch(crew: make.Crew) -> Batch:
    """Return a cook with one charge by difference out of a tin, and one in a jug."""
    batch = make.open_batch(crew)
    make.go_through(crew, batch)
    soon = make.TODAY + datetime.timedelta(days=30)
    make.released_lot(crew, make.sunflower(crew.maker), expires_on=soon)
    oil, (tin, _) = oil_in_tins(crew, 2)
    coconut = make.released_lot(crew, make.coconut(crew.maker))
    bench, vessel = make.scale(crew.maker), make.vessel(crew.maker)
    for source, net_mg, how in (
        (
            oil.stock,
            800_000,
            How(by_difference=True, container=tin, passed_over="it smelled"),
        ),
        (coconut.stock, 200_000, How(vessel=vessel)),
    ):
        cooking.charge(
            by=crew.maker,
            batch=batch,
            line=make.line_of(batch, make.name_of(source)),
            source=source,
            scale=bench,
            gross_mg=net_mg + make.TARE_MG,
            tare_mg=make.TARE_MG,
            unusual="a test",
            how=how,
        )
    return batch


@pytest.mark.parametrize("name", ["batches:batch", "quality:review"])
def test_the_pages_tell_the_tin_the_vessel_and_what_was_passed_over(
    batch: Batch, client: Client, auditor: User, name: str
) -> None:
    client.force_login(auditor)
    page = page_of(client.get(reverse(name, args=[batch.number])))
    tin = batch.charges.get(container__isnull=False).container
    assert tin is not None
    words = page.words
    if name == "quality:review":  # what went in, before what happened
        words = words.split("What went in")[-1].split("What happened, in order")[0]
    for told in (
        "by difference: gross is the container before, tare the same one after",
        f"container {tin.code}",
        "in steel pot",
        "An earlier lot was left: it smelled",
    ):
        assert words.count(told) == 1, told


def test_the_strip_at_the_pot_says_what_was_copied_from_paper(
    batch: Batch, client: Client, crew: make.Crew
) -> None:
    client.force_login(crew.maker)
    address = reverse("batches:pot", args=[batch.number])
    assert "transcribed from paper" not in page_of(client.get(address)).words
    sheet = transcribing.begin(
        by=crew.maker, batch=batch, note="no power", upload=uploads.picture("sheet.png")
    )
    cooking.record_reading(
        by=crew.maker,
        batch=batch,
        characteristic="temperature",
        value=Decimal(60),
        instrument=make.thermometer(crew.maker),
        transcription=sheet,
        observed_at=timezone.now(),
    )
    page = page_of(client.get(address))
    assert "60 °C transcribed from paper, entered" in page.words
    photograph = reverse("producer:attachment", args=[sheet.attachment_id])
    assert photograph in {one.get("href") for one in page.attributes("a")}
