"""What a check weight must be so that a check of a scale says something.

The figures are ours, common practice without a source: a load that is a few steps of
the display, or a few times the error that passes, is shown right by a scale that does
not weigh; and a gram on the pan says nothing of a kilogram.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Final

from batches.models import Batch
from batches.services import planning
from producer.errors import Refusal
from producer.models import Instrument
from producer.quantities import format_mass, format_number, grams, milligrams

LEAST_STEPS: Final = 20  # of the display
LEAST_TOLERANCES: Final = 10  # of the error that passes
LEAST_OF_WORK: Final = Decimal("0.1")  # of the heaviest mass to be weighed


def must_test(scale: Instrument, reference: Decimal, tolerance: Decimal) -> None:
    """Refuse a load in g that the scale does not carry, or that is too small for it.

    From 20 steps and 10 times the error that passes on, a display that shows nothing,
    or that stands still, fails.
    """
    if scale.capacity is not None and reference > scale.capacity:
        raise Refusal(
            f"{scale.name} carries up to {format_number(scale.capacity)} g, so it"
            f" cannot be held against {format_number(reference)} g. Take a lighter"
            " check weight.",
            field="weight",
        )
    least = max(LEAST_STEPS * scale.resolution, LEAST_TOLERANCES * tolerance)
    if reference < least:
        raise Refusal(
            f"{format_number(reference)} g is too little to check {scale.name} with: a"
            " scale that does not weigh could seem right. Take a check weight of at"
            f" least {format_number(least)} g.",
            field="weight",
        )


def least_load(batch: Batch, scale: Instrument) -> Decimal:
    """Return in g what the weight must be at least at the hold point of a batch.

    A tenth of the heaviest mass of the plan, or of what the scale carries if that is
    less: a heavier one is weighed on another scale, or in portions.
    """
    targets = [line.target_mg or 0 for line in planning.plan_of(batch).lines]
    heaviest = grams(max(targets, default=0))
    if scale.capacity is not None:
        heaviest = min(heaviest, scale.capacity)
    return LEAST_OF_WORK * heaviest


def must_be_near_the_work(batch: Batch, scale: Instrument, reference: Decimal) -> None:
    """Refuse a check whose load is far below what is weighed for this batch."""
    least = least_load(batch, scale)
    if reference < least:
        raise Refusal(
            f"{format_number(reference)} g says too little of what is weighed on"
            f" {scale.name} for {batch.number}. Take a check weight of at least"
            f" {format_mass(milligrams(least))}, a tenth of the heaviest mass.",
            field="weight",
        )
