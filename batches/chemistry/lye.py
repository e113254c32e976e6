"""Potash in water.

>>> lye_strength(
...     potash_g=Decimal(200), usable_fraction=Decimal("0.9"), water_g=Decimal(400)
... )
Decimal('0.3')
"""

from __future__ import annotations

from decimal import Decimal

from batches.chemistry.errors import OutOfRangeError


def lye_strength(
    *, potash_g: Decimal, usable_fraction: Decimal, water_g: Decimal
) -> Decimal:
    """Return grams of KOH per gram of lye, from potash as weighed and water.

    Source: definition of the mass fraction, m·P/(m + W). Raises
    :class:`OutOfRangeError` where there is no lye or the usable share is not one.

    >>> lye_strength(
    ...     potash_g=Decimal(9), usable_fraction=Decimal(1), water_g=Decimal(45)
    ... ).quantize(Decimal("0.001"))
    Decimal('0.167')
    """
    if potash_g < 0 or water_g < 0 or potash_g + water_g == 0:
        raise OutOfRangeError("Weigh potash and water: there is no lye without them.")
    if not 0 < usable_fraction <= 1:
        raise OutOfRangeError(
            f"A usable share of {usable_fraction:f} is not possible. Check the purity."
        )
    return potash_g * usable_fraction / (potash_g + water_g)
