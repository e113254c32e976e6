"""Pots with too much or too little alkali, for the tests of corrections."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from batches.models import Batch
from batches.services.titrating import Replicate, Setup, record_titration
from producer.models import Instrument, Material, RawLot
from producer.services import registers
from quality.services.correction import Correction, correction_of
from tests import make
from tests.once import once

G = 1_000  # milligrams


def fine_scale(crew: make.Crew, **changes: Any) -> Instrument:
    """Return a scale in steps of a hundredth of a gram."""
    facts = {"name": "letter scale", "resolution": Decimal("0.01"), **changes}
    return make.registered(crew.maker, Instrument(kind="scale", **facts))


def citric(crew: make.Crew, **changes: Any) -> RawLot:
    """Return a released lot of citric acid."""
    known = Material.objects.filter(name="citric acid").first()
    entry = Material(name="citric acid", kind="addition", acid="citric_anhydrous")
    material = known or registers.save(by=crew.maker, entry=entry)
    return make.released_lot(crew, material, **{"quantity_mg": 500 * G, **changes})


@once
def pot(
    crew: make.Crew, *, extra_mg: int = 15 * G, clarity: str | None = "clear"
) -> Batch:
    """Return a cook with this much more potash in it than its oils need."""
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    if extra_mg:
        line = make.line_of(batch, "potash flakes")
        make.charge(crew, batch, make.stock_of(crew, line), extra_mg, line=line)
    if clarity:
        make.read_clarity(crew, batch, clarity)
    return make.fresh(batch)


@once
def lacking(crew: make.Crew, *, clarity: str | None = "cloudy") -> Batch:
    """Return a cook with 60 g of oil more than the potash was computed for."""
    batch = pot(crew, extra_mg=0, clarity=None)
    line = make.line_of(batch, "sunflower oil")
    make.charge(crew, batch, make.stock_of(crew, line), 60 * G, line=line)
    if clarity:
        make.read_clarity(crew, batch, clarity)
    return make.fresh(batch)


def found_for(batch: Batch, **changes: Any) -> Correction:
    return correction_of(batch, on=make.TODAY, **changes)


def doses(found: Correction) -> dict[str, int | None]:
    return {one.lot.material.name: one.dose_mg for one in found.proposals}


def titrate(crew: make.Crew, batch: Batch, *volumes: str) -> None:
    """Titrate the free alkali of 10 g samples with 0.1 mol/l acid."""
    record_titration(
        by=crew.maker,
        stock=batch.stock,
        kind="free_alkali",
        replicates=[
            Replicate(sample_mg=10 * G, volume_ml=Decimal(volume)) for volume in volumes
        ],
        setup=Setup(
            concentration=Decimal("0.1"),
            half_width=Decimal("0.0005"),
            burette_half_width=Decimal("0.05"),
            scale=fine_scale(crew),
        ),
    )
