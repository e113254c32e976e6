"""What came out: theoretical and actual yield of a batch, to the milligram."""

from __future__ import annotations

import dataclasses
from decimal import Decimal

from django.db import models

from batches.chemistry.saponification import Oil, excess_alkali
from batches.chemistry.yields import percentage_yield, yield_variance_percent
from batches.models import Batch, BulkWeighing, Charge
from batches.services.entries import Entries
from producer.models import Material
from producer.quantities import grams


@dataclasses.dataclass(frozen=True, kw_only=True)
class Yield:
    """Mass in, mass out and the difference.

    ``variance_percent`` is (actual − theoretical) / theoretical × 100: negative where
    water boiled off or paste was lost, above zero only by a weighing error.
    """

    theoretical_mg: int
    actual_mg: int | None
    variance_percent: Decimal | None

    @property
    def percentage(self) -> Decimal | None:
        """Actual yield in percent of theoretical; None until it is weighed."""
        if self.actual_mg is None:
            return None
        return percentage_yield(grams(self.actual_mg), grams(self.theoretical_mg))


def yield_of(batch: Batch, entries: Entries | None = None) -> Yield:
    """Return the yield of a batch from its current charges and weighing.

    ``entries`` are its rows, where the caller has read them already.
    """
    if entries is not None:
        theoretical = sum(row.net_mg for row in entries.standing_charges)
        weighing = entries.weighing
    else:
        theoretical = (
            Charge.objects.current()
            .filter(batch=batch)
            .aggregate(total=models.Sum("net_mg", default=0))["total"]
        )
        weighing = BulkWeighing.objects.current().filter(batch=batch).first()
    if weighing is None or not theoretical:
        return Yield(theoretical_mg=theoretical, actual_mg=None, variance_percent=None)
    return Yield(
        theoretical_mg=theoretical,
        actual_mg=weighing.net_mg,
        variance_percent=yield_variance_percent(
            grams(weighing.net_mg), grams(theoretical)
        ),
    )


def excess_alkali_of(batch: Batch) -> Decimal | None:
    """Return grams of KOH left over by weighing, below zero where some is lacking.

    From the masses on the scale and the figures each charge was computed with; an
    acid counts with the KOH it takes up. None where the batch has no oil or no potash
    in it.
    """
    charges = list(
        Charge.objects.current()
        .filter(batch=batch, figure__isnull=False)
        .select_related("source__lot__material")
    )
    potash, acid, oils = Decimal(0), Decimal(0), []
    for charge in charges:
        if charge.figure is None:
            continue
        kind = charge.source.lot.material.kind
        if kind == Material.Kind.POTASH:
            potash += grams(charge.net_mg) * charge.figure
        elif kind == Material.Kind.ADDITION:
            acid += grams(charge.net_mg) * charge.figure
        else:
            oils.append(Oil(grams(charge.net_mg), charge.figure))
    if not oils or not potash:
        return None
    return excess_alkali(potash, Decimal(1), oils) - acid
