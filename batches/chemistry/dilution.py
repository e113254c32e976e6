"""Paste into liquid, and liquid into bottles. Ratios are by mass, never by jug.

>>> water = water_for_ratio(Decimal(100), Decimal("1.5"))
>>> soap_content_after(Decimal(46), Decimal(100), water)
Decimal('18.4')
"""

from __future__ import annotations

from decimal import Decimal

from batches.chemistry.constants import PERCENT
from batches.chemistry.errors import OutOfRangeError


def water_for_ratio(paste_g: Decimal, water_parts: Decimal) -> Decimal:
    """Return grams of water for one part of paste to ``water_parts`` of water, by mass.

    Source: definition of the ratio. Raises :class:`OutOfRangeError` without water.

    >>> water_for_ratio(Decimal(900), Decimal("1.5"))
    Decimal('1350.0')
    """
    if paste_g < 0:
        raise OutOfRangeError("A mass cannot be below zero. Weigh the paste again.")
    if water_parts <= 0:
        raise OutOfRangeError(
            "A ratio needs some water: its second part is above zero."
        )
    return paste_g * water_parts


def water_for_content(
    paste_g: Decimal, content_percent: Decimal, target_percent: Decimal
) -> Decimal:
    """Return grams of water that bring paste of one soap content down to another.

    Source: conservation of the soap, W = m·(S/T − 1). Raises
    :class:`OutOfRangeError` for a target that no water can reach.

    >>> water_for_content(Decimal(1000), Decimal(46), Decimal("18.4"))
    Decimal('1500.0')
    """
    if paste_g < 0 or not 0 < target_percent <= content_percent <= PERCENT:
        raise OutOfRangeError(
            f"Water cannot turn {content_percent:f} % of soap into"
            f" {target_percent:f} %. The target lies above 0 and not above the paste."
        )
    return paste_g * (content_percent / target_percent - 1)


def soap_content_after(
    content_percent: Decimal, paste_g: Decimal, water_g: Decimal
) -> Decimal:
    """Return the soap content, in percent by mass, of paste and water together.

    Source: conservation of the soap; 1 to 1.5 makes 0.4 of the paste's content.
    Raises :class:`OutOfRangeError` without paste or with water below zero.

    >>> soap_content_after(Decimal(36), Decimal(100), Decimal(150))
    Decimal('14.4')
    """
    if paste_g <= 0 or water_g < 0:
        raise OutOfRangeError(
            "Paste must be above zero and water not below it. Weigh both again."
        )
    if not 0 <= content_percent <= PERCENT:
        raise OutOfRangeError(
            f"A soap content of {content_percent:f} % is not possible. Check it."
        )
    return content_percent * paste_g / (paste_g + water_g)


def net_mass(volume_ul: int, density: Decimal) -> Decimal:
    """Return grams of a volume in microlitres at ``density`` in g/ml, at 20 °C.

    Source: definition of density; nominal volumes hold at 20 °C, Directive
    76/211/EEC. Raises :class:`OutOfRangeError` for a density or volume below zero.

    >>> net_mass(500_000, Decimal("1.02"))
    Decimal('510.00')
    """
    if density <= 0:
        raise OutOfRangeError(
            "A density is above zero. Weigh 100 ml and divide by 100."
        )
    if volume_ul < 0:
        raise OutOfRangeError("A volume cannot be below zero. Measure again.")
    return Decimal(volume_ul) * density / 1000
