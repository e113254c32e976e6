"""Somebody changes the database behind the program's back; verify says what."""

from __future__ import annotations

import io
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from pytest_django import DjangoDbBlocker, Settings

from batches.models import Batch, Bottle, BulkWeighing, Charge, FillingLot, Input
from producer.models import Attachment, JournalEntry, JournalHead, Stock, StockMovement
from producer.services.attachments import path_of
from quality.models import Signature
from tests.database import rolled_back, run, without_triggers
from tests.quality.told import told


@pytest.fixture(scope="module")
def some_history(
    django_db_setup: None,
    django_db_blocker: DjangoDbBlocker,
    tmp_path_factory: pytest.TempPathFactory,
) -> Iterator[Path]:
    """Lots, cooks, a rework, dilutions, bottles: the first chapters of the demo."""
    directory = tmp_path_factory.mktemp("story")
    with told(django_db_blocker, directory, chapters=4):
        yield directory


@pytest.fixture(autouse=True)
def _untouched_by_the_test_before(
    some_history: Path, settings: Settings
) -> Iterator[None]:
    shutil.copytree(some_history / "uploads", settings.MEDIA_ROOT)
    with rolled_back():
        yield


def verify() -> tuple[int, str]:
    """Return the exit code and what was printed."""
    said = io.StringIO()
    try:
        call_command("verify", stdout=said)
    except CommandError as error:
        return error.returncode, said.getvalue() + str(error)
    return 0, said.getvalue()


def test_sound_records_pass_and_the_end_of_the_chain_is_told() -> None:
    code, said = verify()

    head = JournalHead.objects.get()
    assert code == 0
    assert "No fault found" in said
    assert f"row {head.sequence} with {head.hash}" in said
    assert "rows checked" in said


def _run_on(table: str, what: str, pk: int | str, key: str = "id") -> None:
    assert run(f"UPDATE {table} SET {what} WHERE {key} = %s", pk) == 1  # noqa: S608


def an_altered_charge() -> list[str]:
    charge = Charge.objects.order_by("-pk")[0]
    _run_on(
        "batches_charge",
        "gross_mg = gross_mg + 5000, net_mg = net_mg + 5000",
        charge.pk,
    )
    number = charge.batch.number
    return [
        f"The genealogy says batch {number} has",
        f"was drawn from {charge.source.code} by the ledger",
        f"on batch {number}: the batch is no longer what was signed",
    ]


def an_altered_journal_row() -> list[str]:
    _run_on("producer_journalentry", "actor_name = 'Nobody'", 20, "sequence")
    return ["Journal row 20 was altered after it was written"]


def a_journal_row_taken_out() -> list[str]:
    assert run("DELETE FROM producer_journalentry WHERE sequence = %s", 20) == 1
    return ["Journal rows 20 to 20 are missing"]


def the_last_journal_row_taken_out() -> list[str]:
    last = JournalEntry.objects.order_by("-sequence")[0].sequence
    assert run("DELETE FROM producer_journalentry WHERE sequence = %s", last) == 1
    return [f"The journal should end at row {last}"]


def an_altered_upload() -> list[str]:
    attachment = Attachment.objects.order_by("pk")[0]
    path = path_of(attachment)
    path.write_bytes(path.read_bytes() + b" ")
    return [f"{attachment.original_name} ({attachment.path}) is not what was uploaded"]


def a_missing_upload() -> list[str]:
    attachment = Attachment.objects.order_by("pk")[0]
    path_of(attachment).unlink()
    return [f"{attachment.original_name} ({attachment.path}) cannot be read"]


def stock_out_of_nothing() -> list[str]:
    stock = Stock.objects.order_by("pk")[0]
    _run_on("producer_stock", "on_hand_mg = on_hand_mg + 1", stock.pk)
    return [f"{stock.code} says"]


def an_altered_movement() -> list[str]:
    movement = StockMovement.objects.filter(kind="receipt").order_by("pk")[0]
    _run_on("producer_stockmovement", "amount_mg = amount_mg + 1", movement.pk)
    return [f"Movement {movement.pk} of {movement.stock.code} says"]


def an_altered_edge() -> list[str]:
    edge = Input.objects.order_by("pk")[0]
    _run_on("batches_input", "mass_mg = mass_mg + 1", edge.pk)
    return [f"The genealogy says batch {edge.batch.number} has"]


def an_edge_taken_out() -> list[str]:
    edge = Input.objects.order_by("pk")[0]
    assert run("DELETE FROM batches_input WHERE id = %s", edge.pk) == 1
    return [f"of {edge.source.code}, which its genealogy does not know"]


def an_altered_yield() -> list[str]:
    row = BulkWeighing.objects.order_by("pk")[0]
    _run_on(
        "batches_bulkweighing", "gross_mg = gross_mg + 1, net_mg = net_mg + 1", row.pk
    )
    return [f"Batch {row.batch.number} was weighed at", "no longer what was signed"]


def an_altered_filling() -> list[str]:
    lot = FillingLot.objects.order_by("pk")[0]
    _run_on("batches_fillinglot", "loss_mg = loss_mg + 1", lot.pk)
    return [f"Filling lot {lot.code} took"]


def a_bottle_more() -> list[str]:
    lot = FillingLot.objects.order_by("pk")[0]
    Bottle.objects.create(filling_lot=lot, number=999, code="222222222224")
    return [
        f"has {lot.count} bottles by its record, but {lot.count + 1} exist",
        "Bottle 222222222224 is filled, but its last recorded move led to unknown",
    ]


def a_batch_released_by_hand() -> list[str]:
    batch = Batch.objects.filter(status="reworked")[0]
    _run_on("batches_batch", "status = 'released'", batch.pk, "stock_id")
    return [f"Batch {batch.number} is released, but its last recorded move led to"]


def an_altered_signature() -> list[str]:
    signature = Signature.objects.order_by("pk")[0]
    _run_on("quality_signature", "record = record || ' '", signature.pk)
    return [f"Signature {signature.pk} on batch {signature.batch.number}: the signed"]


@pytest.mark.parametrize(
    "tamper",
    [
        an_altered_charge,
        an_altered_journal_row,
        a_journal_row_taken_out,
        the_last_journal_row_taken_out,
        an_altered_upload,
        a_missing_upload,
        stock_out_of_nothing,
        an_altered_movement,
        an_altered_edge,
        an_edge_taken_out,
        an_altered_yield,
        an_altered_filling,
        a_bottle_more,
        a_batch_released_by_hand,
        an_altered_signature,
    ],
)
def test_what_was_done_behind_the_program_is_found(
    tamper: Callable[[], list[str]],
) -> None:
    with without_triggers():
        expected = tamper()

    code, said = verify()

    assert code == 1
    for sentence in expected:
        assert sentence in said
    assert "found. Keep this database as it is" in said
