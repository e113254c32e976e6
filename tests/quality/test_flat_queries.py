"""No page asks the database more often because a batch has more entries.

Each page is counted for a batch with an entry of every kind, corrected ones among them,
and for one with two hundred.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext, override_settings
from django.urls import reverse
from pytest_django import DjangoDbBlocker, Settings

from batches.models import Batch
from batches.services import cooking, losses, titrating
from producer.models import Instrument
from quality.documents import batch_sheet, dossier, export
from tests import lab, make

pytestmark = [pytest.mark.django_db, pytest.mark.any_engine]
MANY = 200
TENTH = Decimal("0.1")


class Two(NamedTuple):
    """A batch with few entries and one with many."""

    crew: make.Crew
    few: Batch
    many: Batch
    uploads: Path


def one_of_each(crew: make.Crew, batch: Batch) -> None:
    """Enter something of every kind; correct one of each or take it back.

    From a lot and with instruments of their own, which nothing else was read from.
    """
    number = Instrument.objects.count()
    probe = Instrument(kind="thermometer", name=f"probe {number}", resolution=TENTH)
    probe = make.registered(crew.maker, probe)
    paper = make.strips(crew.maker, name=f"strips {number}")
    lot = make.released_lot(crew, make.water(crew.maker), quantity_mg=2_000)
    reading = cooking.record_reading(
        by=crew.maker,
        batch=batch,
        characteristic="temperature",
        value=Decimal(65),
        instrument=probe,
    )
    cooking.amend_reading(
        by=crew.maker,
        reading=reading,
        value=Decimal(66),
        instrument=reading.instrument,
        reason="misread",
    )
    make.read_ph(crew, batch, "9", instrument=paper)
    make.read_clarity(crew, batch)
    loss = losses.record_loss(by=crew.maker, batch=batch, kind="spill", mass_mg=1000)
    losses.amend_loss(by=crew.maker, loss=loss, mass_mg=900, reason="weighed again")
    titration = lab.free_alkali(crew, batch)
    titrating.take_back_titration(
        by=crew.maker, titration=titration, reason="the wrong flask"
    )
    charge = make.charge(crew, batch, lot.stock, 1_000)
    cooking.amend_charge(
        by=crew.maker,
        charge=charge,
        gross_mg=charge.gross_mg,
        tare_mg=charge.tare_mg - 100,
        reason="misread",
    )


def entries_of(batch: Batch) -> int:
    """Count what was entered in a batch, what was corrected too."""
    rows = (batch.charges, batch.readings, batch.losses, batch.stock.titrations)
    return sum(one.count() for one in rows)


def finished(crew: make.Crew, name: str, entries: int) -> Batch:
    batch = make.open_batch(crew, make.paste_version(crew, name=name))
    make.charge_all(crew, batch)
    one_of_each(crew, batch)
    while entries_of(batch) < entries:
        one_of_each(crew, batch)
    lab.free_alkali(crew, batch)
    return make.complete(crew, make.fresh(batch))


@pytest.fixture(scope="module")
def world(
    django_db_setup: None,
    django_db_blocker: DjangoDbBlocker,
    tmp_path_factory: pytest.TempPathFactory,
) -> Iterator[Two]:
    """Build both once for all tests here; none of them writes."""
    uploads = tmp_path_factory.mktemp("uploads")
    places = override_settings(MEDIA_ROOT=uploads, DATA_DIR=uploads)
    with django_db_blocker.unblock(), undone(), places:
        owner = make.set_up()
        crew = make.Crew(
            make.account(by=owner, name="Mirja Aalto", rights=["maker"]),
            make.account(by=owner, name="Rasmus Lind", rights=["reviewer"]),
        )
        few, many = finished(crew, "One", 2), finished(crew, "Two", MANY)
        yield Two(crew, few, many, uploads)


@pytest.fixture
def two(world: Two, settings: Settings) -> Two:
    """Return both, with the uploads where they were put."""
    settings.MEDIA_ROOT = world.uploads
    return world


@contextlib.contextmanager
def undone() -> Iterator[None]:
    """Take back at the end all that was written."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def queries(ask: Callable[[], Any]) -> list[str]:
    """Return the queries of one asking."""
    with CaptureQueriesContext(connection) as seen:
        ask()
    return [one["sql"] for one in seen.captured_queries]


def extra(few: list[str], many: list[str]) -> str:
    """Say which tables are asked more often for the many, for whoever mends it."""

    def counted(asked: list[str]) -> dict[str, int]:
        heads: dict[str, int] = {}
        for sql in asked:
            head = sql.partition(" FROM ")[2][:60] or sql[:60]
            heads[head] = heads.get(head, 0) + 1
        return heads

    before, after = counted(few), counted(many)
    grown = {
        head: (before.get(head, 0), count)
        for head, count in after.items()
        if count > before.get(head, 0)
    }
    return f"{len(few)} → {len(many)}: {grown}"


PAGES = (
    "batches:batch",
    "batches:history",
    "quality:review",
    "quality:sign",
    "quality:alkali",
    "quality:correction",
    "quality:doses",
    "quality:chart",
    "quality:affected",
    "quality:affected_csv",
)


@pytest.mark.parametrize("name", PAGES)
def test_a_page_asks_as_often_for_two_hundred_entries(two: Two, name: str) -> None:
    client = Client()
    client.force_login(two.crew.reviewer)

    def page_of(batch: Batch) -> Callable[[], Any]:
        def ask() -> None:
            formula = batch.formula_version.formula_id
            of_batch = name != "quality:chart"
            args = [batch.number] if of_batch else [formula, "ph"]
            answer = client.get(reverse(name, args=args))
            assert answer.status_code == 200
            answer.getvalue()

        return ask

    page_of(two.few)()  # fills what is cached
    few, many = queries(page_of(two.few)), queries(page_of(two.many))
    assert len(many) <= len(few), extra(few, many)
    assert len(few) > 1


def exported(batch: Batch) -> Callable[[], Any]:
    """Write the whole export of one batch, its pieces thrown away."""

    def ask() -> None:
        for _, pieces in export._files([batch], "Mirja Aalto", lambda _: None):
            for _ in pieces:
                pass

    return ask


@pytest.mark.parametrize(
    "document",
    [
        pytest.param(lambda batch: lambda: dossier.context_of(batch), id="dossier"),
        pytest.param(lambda batch: lambda: batch_sheet.context_of(batch), id="sheet"),
        pytest.param(exported, id="export"),
    ],
)
def test_a_paper_asks_as_often_for_two_hundred_entries(
    two: Two, document: Callable[[Batch], Callable[[], Any]]
) -> None:
    few, many = queries(document(two.few)), queries(document(two.many))
    assert len(many) <= len(few), extra(few, many)
    assert len(few) > 1


def test_control_the_batches_differ_by_two_hundred_entries_and_a_loop_is_seen(
    two: Two,
) -> None:
    assert entries_of(two.many) >= MANY > 10 * entries_of(two.few) // 2

    def naive(batch: Batch) -> Callable[[], Any]:
        return lambda: [row.entered_by.person.name for row in batch.readings.all()]

    few, many = queries(naive(two.few)), queries(naive(two.many))
    assert len(many) > len(few)
    assert "producer_person" in extra(few, many)
