"""Builders at the bench and the scale: titrations, containers, half weighings."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django.utils import timezone

from batches.models import (
    Batch,
    ContainerWeighing,
    FillingLot,
    FormulaVersion,
    Titration,
    WeighingStart,
)
from batches.services import containers, half_weighings, titrating
from producer.models import Certificate, Instrument, Material, RawLot, Stock, User
from quality.models import FillCheck, Limit
from quality.services import filling_checks, limits
from quality.services.weighings import failed, here_to_weigh, newest_check
from tests import make
from tests.once import once

# Acid of 1 mol/l for 1.5 g of potash of 89.8 %, with 0.9 % of carbonate.
POTASH_SAMPLE = titrating.Replicate(
    sample_mg=1500, volume_ml=Decimal("24.1"), second_volume_ml=Decimal("24.2")
)


def titration(
    crew: make.Crew,
    stock: Stock,
    *replicates: titrating.Replicate,
    kind: str = "potash",
    setup: Mapping[str, Any] | None = None,
    **changes: Any,
) -> Titration:
    """Record a titration; of potash unless told otherwise, with two samples."""
    facts = {
        "concentration": Decimal(1),
        "half_width": Decimal("0.002"),
        "burette_half_width": Decimal("0.05"),
        "scale": balance(crew.maker),
        **(setup or {}),
    }
    return titrating.record_titration(
        by=crew.maker,
        stock=stock,
        kind=kind,
        replicates=replicates or (POTASH_SAMPLE, POTASH_SAMPLE),
        setup=titrating.Setup(**facts),
        **changes,
    )


def free_alkali(
    crew: make.Crew, batch: Batch, *volumes_ml: str, **changes: Any
) -> Titration:
    """Titrate the free alkali of a batch, 10 g a sample with acid of 0.1 mol/l."""
    samples = [
        titrating.Replicate(sample_mg=10_000, volume_ml=Decimal(volume))
        for volume in volumes_ml or ("1.2",)
    ]
    return titration(
        crew,
        batch.stock,
        *samples,
        kind="free_alkali",
        setup={"concentration": Decimal("0.1"), "half_width": Decimal("0.0005")},
        **changes,
    )


def container(
    crew: make.Crew, lot: RawLot, *, gain_mg: int = 0, **changes: Any
) -> ContainerWeighing:
    """Weigh the container of a lot, so much above what the book says."""
    stock = Stock.objects.get(pk=lot.pk)
    facts = {
        "scale": make.scale(crew.maker),
        "gross_mg": stock.on_hand_mg + gain_mg + make.TARE_MG,
        "tare_mg": make.TARE_MG,
        **changes,
    }
    return containers.weigh_container(by=crew.maker, lot=lot, **facts)


def check_weight(by: User, **changes: Any) -> Instrument:
    """Return a check weight of 500 g, class M1: ± 25 mg (OIML R 111, from memory)."""
    facts = {
        "name": "500 g weight",
        "nominal": Decimal(500),
        "bias_half_width": Decimal("0.025"),
        **changes,
    }
    return make.registered(by, Instrument(kind="check_weight", **facts))


def limit(
    crew: make.Crew, of: FormulaVersion | Material, characteristic: str, **facts: Any
) -> Limit:
    """Set a limit of a formula version or a material; sides as text."""
    for side in ("lower", "upper"):
        if side in facts:
            facts[side] = Decimal(facts[side])
    owner = "material" if isinstance(of, Material) else "formula_version"
    return limits.set_limit(
        by=crew.reviewer,
        characteristic=characteristic,
        **{"reason": "as agreed", owner: of, **facts},
    )


@once
def short_bottles(crew: make.Crew, **facts: Any) -> FillingLot:
    """Return two half-litre bottles of which a weighing said that the mean is short.

    Against a limit of 100 % and above, so that they are on hold.
    """
    version = make.liquid_version(crew, name="Floor liquid")
    limit(crew, version, "net_content", **{"lower": "100", **facts})
    lot = make.filled(crew, make.released_liquid(crew, version))
    weigh_bottles(crew, lot, 480_000)
    return lot


@once
def topped_up_bottles(crew: make.Crew) -> FillingLot:
    """Return two bottles that a weighing holds and that were topped up since."""
    lot = short_bottles(crew)
    weigh_bottles(crew, lot, 520_000)
    return lot


def fine_scale(crew: make.Crew) -> Instrument:
    """Return a scale that shows a hundredth of a gram, for small bottles."""
    name = "fine scale"
    known = Instrument.objects.filter(name=name).first()
    return known or make.registered(
        crew.maker,
        Instrument(kind=Instrument.Kind.SCALE, name=name, resolution=Decimal("0.01")),
    )


def weigh_bottles(crew: make.Crew, lot: FillingLot, net_mg: int) -> FillCheck:
    """Weigh every bottle that is here; each holds so much."""
    return filling_checks.record_fill_check(
        by=crew.maker,
        filling_lot=lot,
        scale=make.scale(crew.maker),
        tare_mg=42_000,
        net_mg=[net_mg] * here_to_weigh(lot),
        since="topped up" if failed(newest_check(lot)) else "",
    )


def impossible_certificate(crew: make.Crew, lot: RawLot, **figures: Any) -> Certificate:
    """Add a version with figures that no potash has, as old records may hold it.

    The service refuses them.
    """
    return Certificate.objects.create(
        lot=lot,
        version=lot.certificates.count() + 1,
        observed_at=timezone.now(),
        entered_by=crew.maker,
        reason="recorded before figures were checked",
        **{"assay_basis": "hydroxide", **figures},
    )


def balance(by: User) -> Instrument:
    """Return a balance with steps of one milligram."""
    entry = Instrument(kind="scale", name="balance", resolution=Decimal("0.001"))
    return make.registered(by, entry)


def half_weighing(
    crew: make.Crew, batch: Batch, source: Stock | None = None, **changes: Any
) -> WeighingStart:
    """Store the tare of a weighing of sunflower oil, or of ``source``."""
    line = make.line_of(batch, make.name_of(source) if source else "sunflower oil")
    if batch.status == "planned":
        make.go_through(crew, batch)
    facts = {"scale": make.scale(crew.maker), "first_mg": make.TARE_MG, **changes}
    return half_weighings.begin(
        by=crew.maker,
        batch=batch,
        line=line,
        source=source or make.stock_of(crew, line),
        **facts,
    )
