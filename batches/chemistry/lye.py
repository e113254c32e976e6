"""Potash in water: strength, whether it dissolves, density, volume, heat capacity.

Strength is a share by mass and decides, so it is a Decimal. Density, heat capacity
and solubility are published fits good to three figures and made of exponentials:
floats. They are shown and warn; no mass is computed from them.

>>> lye_strength(
...     potash_g=Decimal(200), usable_fraction=Decimal("0.9"), water_g=Decimal(400)
... )
Decimal('0.3')
>>> round(density(0.3, 20), 3), round(heat_capacity(0.3, 20), 2)
(1.289, 2.95)
"""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Final

from batches.chemistry import water
from batches.chemistry.errors import OutOfRangeError
from batches.chemistry.water import within

# M. Laliberté, J. Chem. Eng. Data 54 (2009) 1725, row 1310-58-3 (KOH), as kept in the
# package “chemicals” 1.5.2, file Electrolytes/Laliberte2009.tsv: 237 measured
# densities from 4 to 95 °C, 285 heat capacities from 4 to 120 °C.
DENSITY_C: Final = (
    821.119043254761,
    1043.20173374381,
    0.112873330222752,
    0.00124023636407386,
    539.630388368877,
)
DENSITY_FROM_C, DENSITY_TO_C, DENSITY_TO_STRENGTH = 4.0, 95.0, 0.51861
HEAT_A: Final = (
    -0.612709529812129,
    -0.0454225316920391,
    1.87598005977999,
    -5.62731016809735,
    2.42547035549534,
    1.24500822569176,
)
HEAT_FROM_C, HEAT_TO_C, HEAT_TO_STRENGTH = 4.0, 120.0, 0.465314066384833

# Grams of KOH for 100 g of water. Great Soviet Encyclopedia, third edition, article
# Potassium Hydroxide, as translated at encyclopedia2.thefreedictionary.com. Values
# published for 25 °C and above differ by up to a tenth, so none is given.
SOLUBILITY: Final = ((0.0, 97.0), (20.0, 112.0))


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


def solubility(temperature_c: float) -> float:
    """Return the grams of KOH that 100 g of water dissolve, 0 to 20 °C.

    Linear between two published points, 97 g at 0 °C and 112 g at 20 °C; NIOSH prints
    107 at 15 °C, 1 % below. Warmer lye dissolves more. Raises
    :class:`OutOfRangeError` outside.

    >>> solubility(20), solubility(10)
    (112.0, 104.5)
    """
    (cold, least), (warm, most) = SOLUBILITY
    t = within(temperature_c, cold, warm, "temperature for the solubility (°C)")
    return least + (most - least) * (t - cold) / (warm - cold)


def dissolves(strength: float, temperature_c: float) -> bool:
    """Say whether lye of this strength stays clear at a temperature, 0 to 20 °C.

    By :func:`solubility`, counting all that is not KOH as water. Raises
    :class:`OutOfRangeError` outside its range or for a strength that is no share.

    >>> dissolves(0.30, 20), dissolves(0.55, 20)
    (True, False)
    """
    within(strength, 0.0, 1.0, "strength of lye (as a share)")
    grams = solubility(temperature_c)
    return strength <= grams / (grams + 100)


def density(strength: float, temperature_c: float) -> float:
    """Return g/ml of lye, strength 0 to 0.5186 by mass, 4 to 95 °C.

    1/ρ = (1 − w)/ρ(water) + w/ρ(apparent), the latter a fit in w and t. Source:
    Laliberté 2009, J. Chem. Eng. Data 54, 1725. Raises :class:`OutOfRangeError`
    outside the range of its data.

    >>> round(density(0.10, 18), 3)
    1.091
    """
    w = within(strength, 0.0, DENSITY_TO_STRENGTH, "strength of lye (as a share)")
    t = within(temperature_c, DENSITY_FROM_C, DENSITY_TO_C, "temperature of lye (°C)")
    c = DENSITY_C
    apparent = (c[0] * w + c[1]) * math.exp(1e-6 * (t + c[4]) ** 2)
    apparent /= (w + c[2] + c[3] * t) * 1000
    return 1 / ((1 - w) / water.density(t) + w / apparent)


def volume(mass_g: float, strength: float, temperature_c: float) -> float:
    """Return millilitres of a mass of lye; range and refusals of :func:`density`.

    >>> round(volume(600, 0.30, 20))
    465
    """
    if not mass_g >= 0:
        raise OutOfRangeError("A mass cannot be below zero. Weigh again.")
    return mass_g / density(strength, temperature_c)


def heat_capacity(strength: float, temperature_c: float) -> float:
    """Return J/(g K) of lye, strength 0 to 0.4653 by mass, 4 to 120 °C.

    Far below water's: lye of 30 % takes only 2.95 where water takes 4.18, so it gets
    that much hotter. c = (1 − w)·c(water) + w·c(apparent). Source: Laliberté 2009, J.
    Chem. Eng. Data 54, 1725. Raises :class:`OutOfRangeError` outside.

    >>> round(heat_capacity(0.20, 25), 2), round(heat_capacity(0.0, 25), 2)
    (3.27, 4.18)
    """
    w = within(strength, 0.0, HEAT_TO_STRENGTH, "strength of lye (as a share)")
    t = within(temperature_c, HEAT_FROM_C, HEAT_TO_C, "temperature of lye (°C)")
    a = HEAT_A
    alpha = a[1] * t + a[2] * math.exp(0.01 * t) + a[3] * w
    apparent = a[0] * math.exp(alpha) + a[4] * w ** a[5]
    return float((1 - w) * water.heat_capacity(t) + w * apparent)
