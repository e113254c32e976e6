"""How much potash a pot of oils needs.

>>> need = alkali_need([Oil(Decimal(1000), Decimal("190.5"))])
>>> need, potash_to_weigh(need, Decimal("0.9")).quantize(Decimal("0.001"))
(Decimal('190.5'), Decimal('211.667'))
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from decimal import Decimal

from batches.chemistry.constants import (
    HIGHEST_SAPONIFICATION_VALUE,
    LOWEST_SAPONIFICATION_VALUE,
)
from batches.chemistry.errors import ChemistryError, OutOfRangeError


@dataclasses.dataclass(frozen=True)
class Oil:
    """A weighed mass of one oil lot, in grams, and its value in mg KOH per gram.

    Raises :class:`OutOfRangeError` for what no oil can be.
    """

    mass_g: Decimal
    saponification_value: Decimal

    def __post_init__(self) -> None:
        if self.mass_g < 0:
            raise OutOfRangeError("A mass cannot be below zero. Weigh again.")
        check_saponification_value(self.saponification_value)


def check_saponification_value(value: Decimal) -> Decimal:
    """Return the value in mg KOH/g, or raise :class:`OutOfRangeError`.

    Source of the bounds 160 and 280: ours, around the ranges of Codex CXS 210 and 33.

    >>> check_saponification_value(Decimal(136))
    Traceback (most recent call last):
    batches.chemistry.errors.OutOfRangeError: A saponification value of 136 mg KOH per \
gram is outside 160 to 280. Check the unit, and that it is not for sodium hydroxide.
    """
    if not LOWEST_SAPONIFICATION_VALUE <= value <= HIGHEST_SAPONIFICATION_VALUE:
        shown = f"{value:.2f}".rstrip("0").rstrip(".")
        raise OutOfRangeError(
            f"A saponification value of {shown} mg KOH per gram is outside"
            f" {LOWEST_SAPONIFICATION_VALUE} to {HIGHEST_SAPONIFICATION_VALUE}. Check"
            " the unit, and that it is not for sodium hydroxide."
        )
    return value


def midpoint(low: Decimal, high: Decimal) -> Decimal:
    """Return the middle of a published range of saponification values, in mg KOH/g.

    Source of such ranges: Codex CXS 210, e.g. coconut oil 248–265. Raises
    :class:`ChemistryError` for a range that is upside down or out of bounds.

    >>> midpoint(Decimal(248), Decimal(265))
    Decimal('256.5')
    """
    if low > high:
        raise ChemistryError(
            "The lower end of the range is above the upper end. Swap them."
        )
    return (check_saponification_value(low) + check_saponification_value(high)) / 2


def alkali_need(oils: Iterable[Oil]) -> Decimal:
    """Return grams of pure KOH that saponify these oils completely: Σ m·SV/1000.

    Source: the definition of the saponification value, ISO 3657.

    >>> olive, coconut = Decimal("190.5"), Decimal(256)
    >>> alkali_need([Oil(Decimal(1000), olive), Oil(Decimal(200), coconut)])
    Decimal('241.7')
    """
    return sum(
        (oil.mass_g * oil.saponification_value / 1000 for oil in oils), Decimal(0)
    )


def potash_to_weigh(
    need_g: Decimal, usable_fraction: Decimal, lye_discount: Decimal = Decimal(0)
) -> Decimal:
    """Return grams of potash, as it is in the tin, that bring ``need_g`` of KOH.

    ``lye_discount`` is the share of the need that is left out on purpose, 0 by
    default. Source: conservation of the KOH. Raises :class:`OutOfRangeError` for
    shares outside 0 to 1.

    >>> potash_to_weigh(Decimal("190.5"), Decimal("0.9")).quantize(Decimal("0.01"))
    Decimal('211.67')
    """
    if need_g < 0:
        raise OutOfRangeError("A need of KOH cannot be below zero. Weigh the oils.")
    if not 0 < usable_fraction <= 1:
        raise OutOfRangeError(
            f"A usable share of {usable_fraction:f} is not possible. Check the purity."
        )
    if not 0 <= lye_discount < 1:
        raise OutOfRangeError(
            f"A lye discount of {lye_discount:f} is not possible. It is a share from 0"
            " up to, not including, 1."
        )
    return need_g * (1 - lye_discount) / usable_fraction


def excess_alkali(
    potash_g: Decimal, usable_fraction: Decimal, oils: Iterable[Oil]
) -> Decimal:
    """Return grams of KOH left over (above zero) or lacking (below), by weighing.

    Source: conservation of the KOH, m·P − Σ mᵢ·SVᵢ/1000.

    >>> excess_alkali(
    ...     Decimal(212), Decimal("0.9"), [Oil(Decimal(1000), Decimal("190.5"))]
    ... )
    Decimal('0.3')
    """
    return potash_g * usable_fraction - alkali_need(oils)
