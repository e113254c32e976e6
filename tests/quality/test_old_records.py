"""A record that was signed before the stove and the store reads the same today.

``signed_before_the_stove.json`` is what a signature signed in the version before hold
points, containers and lots of indicator were kept, to the byte.
"""

from __future__ import annotations

import hashlib
import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from batches.models import Batch
from batches.services import cooking, losses, titrating
from producer.models import Instrument
from producer.models.journal import canonical
from quality.models import Signature
from quality.services import record, signing, still_signed
from quality.services.as_signed import as_signed
from tests import lab, make
from tests.batches.test_by_difference import oil_in_tins
from tests.database import run, without_triggers

pytestmark = pytest.mark.django_db
OLD = (Path(__file__).parent / "signed_before_the_stove.json").read_text("utf-8")
# What is another in every database: keys, accounts, codes and times.
OF_THE_DAY = {
    *("id", "supersedes", "entered_by", "maker", "scale", "instrument", "formula"),
    *("entered_at", "observed_at", "opened_at", "batch", "source"),
}


def as_of_today(old: Any, new: Any) -> Any:
    """Return the old facts with the keys, codes and times of this database."""
    if isinstance(old, dict):
        return {
            name: new[name]
            if name in OF_THE_DAY and None not in (value, new[name])
            else as_of_today(value, new[name])
            for name, value in old.items()
        }
    if isinstance(old, list):
        return [as_of_today(one, other) for one, other in zip(old, new, strict=True)]
    return old


def the_same_again(crew: make.Crew) -> Signature:
    """Do what was done before the record was signed, and take the hold points out."""
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    losses.record_loss(
        by=crew.maker,
        batch=batch,
        kind="spill",
        mass_mg=1000,
        half_width_mg=100,
        note="on the floor",
    )
    batch = make.complete(crew, batch, share="0.94")
    reading = batch.readings.get(characteristic="ph")
    cooking.amend_reading(
        by=crew.maker,
        reading=reading,
        value=Decimal("9.4"),
        method=reading.method,
        instrument=reading.instrument,
        reason="misread",
    )
    lab.free_alkali(crew, batch)
    make.sign(crew.reviewer, make.fresh(batch), "reject")
    with without_triggers():
        run("DELETE FROM batches_holdpoint")
    return Signature.objects.get(batch=batch)


def test_what_was_signed_before_is_what_the_rows_say_today(crew: make.Crew) -> None:
    signature = the_same_again(crew)
    old = json.loads(OLD)
    facts = as_of_today(old["facts"], record.facts_of(signature.batch))
    signature.record = canonical({**old, "facts": facts})
    assert still_signed.fault_of_record(signature) == ""
    shown = as_signed(signature)
    assert {"pH", "clarity"} <= {row.name for row in shown.rows}
    facts["charges"][0]["net_mg"] += 1  # control
    signature.record = canonical({**old, "facts": facts})
    assert "no longer what was signed" in still_signed.fault_of_record(signature)


def test_the_old_record_is_still_canonical() -> None:
    assert canonical(json.loads(OLD)) == OLD
    assert record.sha256(OLD) == hashlib.sha256(OLD.encode()).hexdigest()


def test_the_lot_of_indicator_is_signed_where_there_is_one(crew: make.Crew) -> None:
    lot = Instrument(kind="indicator", name="phenolphthalein 7")
    lot = make.registered(crew.maker, lot)
    batch = make.cooked_batch(crew)
    for setup in ({"indicator": lot}, {}):
        sample = titrating.Replicate(sample_mg=10_000, volume_ml=Decimal("1.2"))
        facts = {"concentration": Decimal("0.1"), **setup}
        lab.titration(crew, batch.stock, sample, kind="free_alkali", setup=facts)
    make.sign(crew.reviewer, make.fresh(batch), "reject")
    with_lot, without = _facts(batch)["titrations"]
    assert with_lot["indicator"] == lot.pk
    assert "indicator" not in without
    assert list(signing.faults()) == []
    with without_triggers():
        run("UPDATE batches_titration SET indicator_id = NULL")
    assert ["no longer what was signed" in one for one in signing.faults()] == [True]


def _facts(batch: Batch) -> dict[str, Any]:
    facts: dict[str, Any] = record.part(batch.signatures.get().record, "facts")
    return facts


def test_a_weighing_begun_signs_the_container_it_is_from(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    lot, (tin,) = oil_in_tins(crew, 1)
    lab.half_weighing(crew, batch, lot.stock, container=tin)
    coconut = make.stock_of(crew, make.line_of(batch, "coconut oil"))
    lab.half_weighing(crew, batch, coconut)
    named, unnamed = record.facts_of(batch)["starts"]
    assert named["container"] == tin.code
    assert "container" not in unnamed
