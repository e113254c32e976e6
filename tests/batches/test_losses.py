"""Losses: written down, corrected, taken back; never more than there is."""

from __future__ import annotations

import datetime
import functools

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.utils import timezone

from batches.models import Batch, Loss
from batches.services.losses import amend_loss, record_loss
from batches.services.outcome import outcome_of
from producer.errors import Conflict, Refusal
from producer.models import JournalEntry
from producer.quantities import milligrams
from tests import make

pytestmark = pytest.mark.django_db

G = 1_000  # milligrams


def pot(crew: make.Crew) -> Batch:
    """Return a cook with everything in it."""
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    return make.fresh(batch)


def test_a_loss_is_a_row_with_its_doubt_and_a_journal_entry(crew: make.Crew) -> None:
    batch = pot(crew)
    row = record_loss(
        by=crew.maker,
        batch=batch,
        kind="spill",
        mass_mg=120 * G,
        half_width_mg=20 * G,
        note="  over the rim ",
    )
    assert (row.mass_mg, row.half_width_mg, row.note) == (
        120_000,
        20_000,
        "over the rim",
    )
    entry = JournalEntry.objects.first()
    assert entry is not None
    assert entry.act == "loss recorded"


@pytest.mark.parametrize("void", [False, True])
def test_a_correction_stands_beside_the_old_row(crew: make.Crew, void: bool) -> None:  # noqa: FBT001
    batch = pot(crew)
    old = record_loss(by=crew.maker, batch=batch, kind="sample", mass_mg=50 * G)
    amend_loss(
        by=crew.maker, loss=old, mass_mg=60 * G, void=void, reason="weighed it after"
    )
    current = list(Loss.objects.current().filter(batch=batch))
    assert [row.mass_mg for row in current] == ([] if void else [60 * G])
    assert Loss.objects.count() == 2
    with pytest.raises(Conflict, match="corrected already"):
        amend_loss(by=crew.maker, loss=old, mass_mg=1, reason="again")


def test_what_cannot_have_left_is_refused(crew: make.Crew) -> None:
    batch = pot(crew)
    water = outcome_of(batch).pot
    assert water is not None
    least = milligrams(water.water) + 1
    record = functools.partial(record_loss, by=crew.maker, batch=batch)
    with pytest.raises(Refusal, match="cannot have boiled off"):
        record(kind="evaporation", mass_mg=least)
    with pytest.raises(Refusal, match="would be lost"):
        record(kind="spill", mass_mg=5 * make.KG)
    with pytest.raises(Refusal, match="larger than the mass itself"):
        record(kind="spill", mass_mg=5, half_width_mg=6)
    with pytest.raises(ValidationError, match="mass above zero"):
        record(kind="spill", mass_mg=0)
    with pytest.raises(ValidationError):
        record(kind="theft", mass_mg=5)
    with pytest.raises(Refusal, match="future"):
        record(
            kind="spill",
            mass_mg=5,
            observed_at=timezone.now() + datetime.timedelta(days=3),
        )
    assert not Loss.objects.exists()
    record(kind="evaporation", mass_mg=least - 1)  # control: all the water there is
    with pytest.raises(Refusal, match="cannot have boiled off"):
        record(kind="evaporation", mass_mg=1)


def test_an_amended_loss_counts_once_against_what_there_is(crew: make.Crew) -> None:
    batch = pot(crew)
    row = record_loss(by=crew.maker, batch=batch, kind="evaporation", mass_mg=300 * G)
    amend_loss(by=crew.maker, loss=row, mass_mg=400 * G, reason="misread")
    assert Loss.objects.current().get().mass_mg == 400 * G


def test_losses_belong_to_an_open_batch_and_to_a_maker(crew: make.Crew) -> None:
    with pytest.raises(Refusal, match="Nothing is in the pot"):
        record_loss(by=crew.maker, batch=make.open_batch(crew), kind="spill", mass_mg=5)
    batch = pot(crew)
    with pytest.raises(PermissionDenied):
        record_loss(by=crew.reviewer, batch=batch, kind="spill", mass_mg=5)
    row = record_loss(by=crew.maker, batch=batch, kind="spill", mass_mg=5)
    make.complete(crew, batch)
    record_loss(by=crew.maker, batch=batch, kind="sample", mass_mg=5)  # still open
    make.sign(crew.reviewer, batch)
    with pytest.raises(Refusal, match="closed and signed"):
        record_loss(by=crew.maker, batch=batch, kind="spill", mass_mg=5)
    with pytest.raises(Refusal, match="closed and signed"):
        amend_loss(by=crew.maker, loss=row, void=True, reason="no")
