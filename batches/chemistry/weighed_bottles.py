"""What weighed bottles can be, and what the verdict about them is worth.

The verdict itself is that of :func:`batches.chemistry.net_content.lot_check`.
Decimal, as there.

>>> check_net_masses(Decimal(500), Decimal(1), [Decimal(500), Decimal(260)])
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, Decimal
from typing import Final

from batches.chemistry.errors import OutOfRangeError
from batches.chemistry.net_content import LotCheck

_TENTH: Final = Decimal("0.1")

# A net mass beyond these is a slip of the point or another bottle: ours, no source.
LEAST_PLAUSIBLE: Final = Decimal("0.5")
MOST_PLAUSIBLE: Final = Decimal("1.5")


def check_net_masses(
    nominal_ml: Decimal, density: Decimal, nets_g: Sequence[Decimal]
) -> None:
    """Refuse net masses that no bottle of this size can have, by their number.

    Half to one and a half times nominal · density is let through: what is short or
    overfilled is to be seen, 12200 typed for 122.00 is not. Source: ours. Raises
    :class:`OutOfRangeError`.

    >>> check_net_masses(Decimal(100), Decimal("1.02"), [Decimal(102), Decimal(12200)])
    Traceback (most recent call last):
    batches.chemistry.errors.OutOfRangeError: Mass 2 is 12200 g net; a bottle of \
100 ml holds about 102 g. Check the decimal point, the unit and the empty bottle.
    """
    expected = nominal_ml * density
    for number, net in enumerate(nets_g, start=1):
        if net < 0:
            raise OutOfRangeError(
                f"Mass {number}: the tare is heavier than the bottle. Check both."
            )
        if not LEAST_PLAUSIBLE * expected <= net <= MOST_PLAUSIBLE * expected:
            raise OutOfRangeError(
                f"Mass {number} is {net.normalize():f} g net; a bottle of"
                f" {nominal_ml.normalize():f} ml holds about {expected:.0f} g. Check"
                " the decimal point, the unit and the empty bottle."
            )


# By how much a density of a bench may be wrong: common practice, no source.
DENSITY_HALF_WIDTH: Final = Decimal("0.005")


def mean_uncertainty_ml(
    mean_ml: Decimal,
    density: Decimal,
    *,
    count: int,
    step_g: Decimal,
    half_width_g: Decimal,
) -> Decimal:
    """Return U, k = 2, in ml of the mean of ``count`` bottles weighed on one scale.

    Each net mass is two roundings to ``step_g``, together triangular, and they differ
    from bottle to bottle; ± of the scale and of the density (rectangular, half a
    percent of it: common practice, no source) are the same for all. How bottles differ
    is not in it: the rule itself looks after that. Source: JCGM 100:2008, 4.3.7, 4.3.9
    and 5.1.2. Raises :class:`OutOfRangeError` without bottles or density.

    >>> U = mean_uncertainty_ml(
    ...     Decimal(500), Decimal(1), count=24, step_g=Decimal(1),
    ...     half_width_g=Decimal(0),
    ... )
    >>> round(U, 2)
    Decimal('2.89')
    """
    if count <= 0 or density <= 0:
        raise OutOfRangeError("A mean needs bottles, and a density above zero.")
    of_mass = step_g**2 / 6 / count + half_width_g**2 / 3
    of_density = (mean_ml * DENSITY_HALF_WIDTH) ** 2 / 3
    return 2 * (of_mass / density**2 + of_density).sqrt()


def share_of_nominal(
    check: LotCheck, *, lot_size: int, uncertainty_ml: Decimal
) -> tuple[Decimal, Decimal]:
    """Return the mean content of a lot in % of the nominal one, and its u in %.

    ``uncertainty_ml`` is U, k = 2, of the mean by scale and density. With it goes how
    the weighed bottles differ, for those of the lot that were not weighed: s²/n times
    the share of them; nothing where every bottle was weighed. Source: JCGM 100:2008,
    4.2.3 and 5.1.2; the share not weighed is the correction for a finite lot (W. G.
    Cochran, Sampling Techniques, chapter 2, from memory). Raises
    :class:`OutOfRangeError` where more were weighed than the lot has.

    >>> from batches.chemistry.net_content import lot_check
    >>> check = lot_check(Decimal(500), [Decimal(501), Decimal(509)], lot_size=2)
    >>> both = share_of_nominal(check, lot_size=2, uncertainty_ml=Decimal(5))
    >>> [f"{one:.1f}" for one in both]
    ['101.0', '0.5']
    """
    if not 0 < check.weighed <= lot_size:
        raise OutOfRangeError("More bottles were weighed than the lot has.")
    not_weighed = 1 - Decimal(check.weighed) / lot_size
    of_sample = check.standard_deviation_ml**2 / check.weighed * not_weighed
    u = ((uncertainty_ml / 2) ** 2 + of_sample).sqrt()
    to_percent = 100 / check.limits.nominal
    return check.mean_ml * to_percent, u * to_percent


def said_of_doubt(check: LotCheck, density: Decimal, uncertainty_ml: Decimal) -> str:
    """Return what a verdict is worth: the density in it, and whether the mean is clear.

    A condition in words; accepted or not stays as the rule has it.

    >>> from batches.chemistry.net_content import lot_check
    >>> check = lot_check(Decimal(500), [Decimal(501), Decimal(503)], lot_size=2)
    >>> print(said_of_doubt(check, Decimal("1.0200"), Decimal("2.9")))
    Judged with a density of 1.02 g/ml. The mean cannot be told from the nominal \
500.0 ml: it is known to ± 2.9 ml (k = 2; scale, and ± 0.5 % of the density, common \
practice, no source). The verdict is that of the rule.
    """
    words = f"Judged with a density of {density.normalize():f} g/ml."
    nominal = check.limits.nominal
    if abs(check.mean_ml - nominal) > uncertainty_ml:
        return words
    return (
        f"{words} The mean cannot be told from the nominal"
        f" {_ml(nominal, ROUND_HALF_EVEN)}: it is known to ±"
        f" {_ml(uncertainty_ml, ROUND_CEILING)} (k = 2; scale, and ± 0.5 % of the"
        " density, common practice, no source). The verdict is that of the rule."
    )


def _ml(value: Decimal, rounding: str) -> str:
    return f"{value.quantize(_TENTH, rounding):f} ml"
