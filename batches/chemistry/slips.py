"""Slips at the bench that would give a small, sure and wrong result.

A sample a thousand times too heavy by its unit makes a titration say “nothing in it”,
with a tiny ±. What lies outside the usual is refused with the likely slip named. The
bounds are common practice, no source. Decimal, because they decide by comparison.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Final

from batches.chemistry.errors import OutOfRangeError
from batches.chemistry.replicates import Bench, Kind, Sample

# Grams of a sample; common practice, no source.
SAMPLES_G: Final = {
    Kind.FREE_ALKALI: (Decimal(1), Decimal(50)),
    Kind.SAPONIFICATION_VALUE: (Decimal("0.2"), Decimal(20)),
    Kind.ACID_VALUE: (Decimal("0.2"), Decimal(20)),
    Kind.POTASH: (Decimal("0.2"), Decimal(20)),
}
# mol/l of a titrant, ± of it as a share, ± of a burette in ml; common practice.
WEAKEST, STRONGEST = Decimal("0.005"), Decimal(2)
LEAST_SURE_TITRANT: Final = Decimal("0.05")
COARSEST_BURETTE_ML: Final = Decimal("0.5")


def check_bench(bench: Bench) -> None:
    """Raise :class:`OutOfRangeError` for a titrant or burette as nobody has it.

    Strength in mol/l from 0.005 to 2, known to 5 % of it; burette to 0.5 ml.

    >>> check_bench(  # doctest: +ELLIPSIS
    ...     Bench(
    ...         concentration=Decimal(100),
    ...         burette_half_width=Decimal("0.05"),
    ...         balance_uncertainty_g=Decimal("0.01"),
    ...     )
    ... )
    Traceback (most recent call last):
    batches.chemistry.errors.OutOfRangeError: A titrant of 100 mol/l is not used ...
    """
    strength = bench.concentration
    if not WEAKEST <= strength <= STRONGEST:
        raise OutOfRangeError(
            f"A titrant of {strength:f} mol/l is not used here; from {WEAKEST:f} to"
            f" {STRONGEST:f} is. Read the label again: is it in mmol/l, or in percent?"
        )
    if bench.concentration_half_width > strength * LEAST_SURE_TITRANT:
        raise OutOfRangeError(
            f"± {bench.concentration_half_width:f} mol/l is more than 5 % of the"
            " titrant. Write it in mol/l, not in percent; if its strength is not known"
            " better, standardise it first."
        )
    if bench.burette_half_width > COARSEST_BURETTE_ML:
        raise OutOfRangeError(
            f"± {bench.burette_half_width:f} ml is no burette's. Write the ± that is"
            " printed on it, not its volume or its smallest mark."
        )


def check_samples(
    kind: Kind, samples: Sequence[Sample], *, capacity_g: Decimal | None = None
) -> None:
    """Raise :class:`OutOfRangeError` for a sample that is mostly a slip of unit.

    ``capacity_g`` is the largest load of the scale in grams, None if not known. A
    sample that does not count may weigh what it likes, up to what the scale holds: it
    may have been left out for that very reason.

    >>> check_samples(  # doctest: +ELLIPSIS
    ...     Kind.FREE_ALKALI, [Sample(mass_g=Decimal(10000), volume_ml=Decimal(1))]
    ... )
    Traceback (most recent call last):
    batches.chemistry.errors.OutOfRangeError: Sample 1 weighs 10000 g; ...
    """
    least, most = SAMPLES_G[kind]
    for number, sample in enumerate(samples, start=1):
        mass = f"{sample.mass_g.normalize():f} g"
        if capacity_g is not None and sample.mass_g > capacity_g:
            raise OutOfRangeError(
                f"Sample {number} weighs {mass}, and the scale holds"
                f" {capacity_g.normalize():f} g at most. Check the unit of the mass,"
                " milligrams or grams, and which scale it was."
            )
        if sample.counts and not least <= sample.mass_g <= most:
            raise OutOfRangeError(
                f"Sample {number} weighs {mass}; for this titration it is from"
                f" {least:f} to {most:f} g. Check the unit, milligrams or grams, and"
                " whether the vessel is still in it."
            )
