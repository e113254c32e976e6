"""Pure water at normal pressure: density, heat capacity, ionisation.

Floats, not Decimals: these are published fits of measurements, good to some parts in
ten thousand, made of powers and exponentials; nothing here has to close to the
milligram. Whoever shows a value rounds it once.

>>> round(density(20), 4), round(heat_capacity(20), 3), round(ionisation(25), 3)
(0.9982, 4.183, 13.994)
"""

from __future__ import annotations

import math
from typing import Final

from batches.chemistry.errors import OutOfRangeError

KELVIN: Final = 273.15
ZERO_C, BOILING_C = 0.0, 100.0  # at 101.325 kPa
HEAT_CAPACITY_TO_C: Final = 130.0

# G. S. Kell, J. Chem. Eng. Data 20 (1975) 97: kg/m³ over the fraction's lower line,
# powers of t in °C, as quoted by Jones and Harris, J. Res. NIST 97 (1992) 335, eq. 1.
# That copy prints 16.897850e-3 below the line, which makes water of 20 °C too light
# by 0.03 %; 16.879850e-3 agrees with IAPWS-95 to 2 parts in 100,000 up to 100 °C.
KELL: Final = (
    999.83952,
    16.945176,
    -7.9870401e-3,
    -46.170461e-6,
    105.56302e-9,
    -280.54253e-12,
)
KELL_BELOW: Final = 16.879850e-3

# Popiel and Wojtkowiak, Heat Transfer Eng. 19 (1998) 87, kJ/(kg K) at the powers 0,
# 1, 1.5, 2, 2.5 of t in °C; the title from memory, the equation read at
# adams-ale.readthedocs.io/en/latest/water/spheat.html.
POPIEL: Final = (
    (0.0, 4.2174356),
    (1.0, -0.0056181625),
    (1.5, 0.0012992528),
    (2.0, -0.00011535353),
    (2.5, 4.14964e-6),
)

# IAPWS R11-24, Revised Release on the Ionization Constant of H2O (2024), with the
# coefficients as two public implementations print them (MilanSkocic/iapws, src/
# iapws_r1124.f90, is one).
ION_COORDINATION: Final = 6
ALPHA: Final = (-0.702132, 8681.05, -24145.1)
BETA: Final = (0.813876, -51.4471, -0.469920)
GAS: Final = (0.61415, 48251.33, -67707.93, 10102100.0)
MOLAR_MASS_WATER: Final = 18.015268  # g/mol, as the release has it


def within(value: float, low: float, high: float, what: str) -> float:
    """Return ``value`` if it lies within ``low`` to ``high``, both included.

    Raises :class:`OutOfRangeError` with ``what`` in the sentence: no formula of ours
    is used beyond the range of its source. What is not a number lies nowhere.

    >>> within(20.0, 0.0, 100.0, "temperature of water (°C)")
    20.0
    """
    if not low <= value <= high:
        raise OutOfRangeError(
            f"A {what} of {value:g} is outside {low:g} to {high:g}, for which values"
            " are published. Check what was typed."
        )
    return value


def density(temperature_c: float) -> float:
    """Return g/ml of air-free water at 101.325 kPa, 0 to 100 °C.

    Source: Kell 1975, J. Chem. Eng. Data 20, 97 (valid 0 to 150 °C; here only to the
    boiling point). Raises :class:`OutOfRangeError` outside.

    >>> round(density(15), 5)
    0.9991
    """
    t = within(temperature_c, ZERO_C, BOILING_C, "temperature of water (°C)")
    return _kell(t)


def _kell(t: float) -> float:
    above = sum(factor * t**power for power, factor in enumerate(KELL))
    return above / (1 + KELL_BELOW * t) / 1000


def heat_capacity(temperature_c: float) -> float:
    """Return J/(g K) of liquid water, 0 to 130 °C, under pressure above 100 °C.

    Source: Popiel and Wojtkowiak 1998; within 0.1 % of IAPWS-95. Raises
    :class:`OutOfRangeError` outside.

    >>> round(heat_capacity(80), 3)
    4.197
    """
    t = within(temperature_c, ZERO_C, HEAT_CAPACITY_TO_C, "temperature of water (°C)")
    return float(sum(factor * t**power for power, factor in POPIEL))


def ionisation(temperature_c: float) -> float:
    """Return pKw, −log10 of the ion product of water (molality), 0 to 100 °C.

    Neutral water has half of it as pH: 7.08 at 20 °C, 6.63 at 50 °C. Source: IAPWS
    R11-24 with the density of :func:`density`. Older tables, such as Marshall and
    Franck 1981, run up to 0.02 apart, and school tables 0.08. Raises
    :class:`OutOfRangeError` outside.

    >>> round(ionisation(20), 3), round(ionisation(50), 3)
    (14.164, 13.265)
    """
    return ionisation_at(temperature_c + KELVIN, density(temperature_c))


def ionisation_at(kelvin: float, density_g_ml: float) -> float:
    """Return pKw at a temperature in K and a density of water in g/cm³.

    The equation of IAPWS R11-24 as it stands, 273.15 to 1273.15 K: here so that the
    check values of the release can be held against it.

    >>> round(ionisation_at(300.0, 1.0), 6)
    13.906672
    """
    within(kelvin, KELVIN, KELVIN + 1000, "temperature (K)")
    within(density_g_ml, 0.0, 1.25, "density of water (g/cm³)")
    alpha, beta, gas = ALPHA, BETA, GAS
    z = density_g_ml * math.exp(
        alpha[0] + alpha[1] / kelvin + alpha[2] / kelvin**2 * density_g_ml ** (2 / 3)
    )
    liquid = math.log10(1 + z) - z / (z + 1) * density_g_ml * (
        beta[0] + beta[1] / kelvin + beta[2] * density_g_ml
    )
    ideal_gas = sum(factor / kelvin**power for power, factor in enumerate(gas))
    return (
        ideal_gas
        - 2 * ION_COORDINATION * liquid
        + 2 * math.log10(MOLAR_MASS_WATER / 1000)
    )
