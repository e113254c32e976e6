"""Paste into liquid, and back. Ratios are by mass, never by jug.

Masses and contents are Decimal: a content exactly on the edge of a band must be seen
to lie on it. :func:`diluted_content` is plain arithmetic, so that the same formula
serves an uncertainty budget, which works in floats.

>>> water = water_for_ratio(Decimal(100), Decimal("1.5"))
>>> soap_content_after(Decimal(46), Decimal(100), water)
Decimal('18.4')
"""

from __future__ import annotations

import dataclasses
from decimal import Decimal
from typing import Any, Final

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
            f"Water cannot turn {_shown(content_percent)} % of soap into"
            f" {_shown(target_percent)} %. The target lies above 0 and not above the"
            " paste."
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
    content: Decimal = diluted_content(content_percent, paste_g, water_g)
    return content


def diluted_content(content: Any, paste: Any, water: Any) -> Any:
    """Return S·m/(m + W), without looking at what it is given.

    Plain arithmetic for Decimals, floats, arrays and values with uncertainty, in one
    unit of mass; the result has the unit of ``content``. Source: conservation of the
    soap. :func:`soap_content_after` is the same with its range looked at.

    >>> diluted_content(36.0, 100.0, 150.0)
    14.4
    """
    return content * paste / (paste + water)


def water_to_drive_off(
    mass_g: Decimal,
    content_percent: Decimal,
    target_percent: Decimal,
    *,
    highest_percent: Decimal = PERCENT,
) -> Decimal:
    """Return grams of water to evaporate until the soap content has risen to a target.

    The way back from :func:`water_for_content`: W = m·(1 − S/T). Source: conservation
    of the soap, which does not boil off. ``highest_percent`` is the content when all
    water is gone: glycerol and what else does not boil stay. Raises
    :class:`OutOfRangeError` for a target below the content or above that.

    >>> water_to_drive_off(Decimal(2500), Decimal("18.4"), Decimal(46))
    Decimal('1500.0')
    """
    if mass_g < 0 or not 0 < content_percent <= target_percent <= PERCENT:
        raise OutOfRangeError(
            f"Evaporation cannot turn {_shown(content_percent)} % of soap into"
            f" {_shown(target_percent)} %. The target is at least the content, at most"
            " 100 %."
        )
    if target_percent > highest_percent:
        raise OutOfRangeError(
            f"Boiling cannot bring this to {_shown(target_percent)} % of soap: without"
            f" any water it holds {_shown(highest_percent)} %, the rest is glycerol and"
            " what else does not boil off. Paste scorches long before that."
        )
    return mass_g * (1 - content_percent / target_percent)


@dataclasses.dataclass(frozen=True, kw_only=True)
class ContentsBand:
    """A class of contents for a label: from ``lower`` to below ``upper``, % by mass."""

    lower: Decimal
    upper: Decimal
    wording: str


# Source: Regulation (EC) 648/2004, Annex VII A, consolidated 1 June 2015. They are for
# constituents above 0.2 % by mass, soap among them.
CONTENTS_BANDS: Final = (
    ContentsBand(lower=Decimal(0), upper=Decimal(5), wording="less than 5 %"),
    ContentsBand(
        lower=Decimal(5), upper=Decimal(15), wording="5 % or over but less than 15 %"
    ),
    ContentsBand(
        lower=Decimal(15), upper=Decimal(30), wording="15 % or over but less than 30 %"
    ),
    # Closed at 100 by nothing but arithmetic: no mixture holds more.
    ContentsBand(lower=Decimal(30), upper=Decimal(101), wording="30 % and more"),
)


def contents_band(content_percent: Decimal) -> ContentsBand:
    """Return the class of contents of a soap content in percent by mass.

    Source: Regulation (EC) 648/2004, Annex VII A; an edge belongs to the class above
    it. Raises :class:`OutOfRangeError` for a content outside 0 to 100.

    >>> contents_band(Decimal("14.4")).wording
    '5 % or over but less than 15 %'
    >>> contents_band(Decimal(15)).wording
    '15 % or over but less than 30 %'
    """
    if not 0 <= content_percent <= PERCENT:
        raise OutOfRangeError(
            f"A soap content of {content_percent:f} % is not possible. Check it."
        )
    return next(
        band for band in CONTENTS_BANDS if band.lower <= content_percent < band.upper
    )


def band_question(
    content_percent: Decimal,
    expanded_percent: Decimal,
    *,
    lowest_percent: Decimal | None = None,
) -> str:
    """Return what to ask when content ± U reaches into another class; else nothing.

    ``expanded_percent`` is U, about 95 %, in percent by mass; ``lowest_percent`` is
    what the content may be besides, for a reason that U does not know of. The class
    itself is that of the mean; nobody but the maker can choose what the label says.
    Source: ours; the Regulation is silent about uncertainty.

    >>> band_question(Decimal("18.4"), Decimal(1))
    ''
    >>> print(band_question(Decimal("14.4"), Decimal("0.9")))
    The content lies between 13.5 and 15.3 %. That is “5 % or over but less than 15 %” \
or “15 % or over but less than 30 %”: which of them shall the label say? A little more \
or less water moves it clear of the edge.
    """
    if expanded_percent < 0:
        raise OutOfRangeError("Write the ± of a content without a sign.")
    contents_band(content_percent)  # refuses what no mixture can hold
    low = max(content_percent - expanded_percent, Decimal(0))
    if lowest_percent is not None:
        low = min(low, lowest_percent)
    high = min(content_percent + expanded_percent, PERCENT)
    first, last = contents_band(low), contents_band(high)
    if first is last:
        return ""
    choices = " or ".join(
        f"“{band.wording}”"
        for band in CONTENTS_BANDS
        if first.lower <= band.lower <= last.lower
    )
    return (
        f"The content lies between {_shown(low)} and {_shown(high)} %. That is"
        f" {choices}: which of them shall the label say? A little more or less water"
        " moves it clear of the edge."
    )


def _shown(percent: Decimal) -> str:
    """Return a percentage to read, to a hundredth at most."""
    text = f"{round(percent, 2):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


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
