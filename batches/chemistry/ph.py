"""What a pH test can see of free alkali, and what it cannot.

Free KOH in a paste makes a prepared solution alkaline; how much depends on how strong
the solution is and how warm, which is why a pH without both means nothing.

What it leaves out, on purpose and in one direction: soap itself reacts with water and
makes it alkaline, so a paste without any free alkali reads 9 to 10.5 as well (trade,
classicbells.com/soap/pH.asp). The pH computed here is therefore the *least* that the
free alkali gives, and the free alkali computed from a reading is the *most* that can
be behind it. Carbon dioxide from the air, acid and cheap strips pull the reading
down. No pH sees oil that has not reacted: a clear portion in hot water does.

Floats: logarithms of activities, good to 0.05 at best.

>>> round(expected_ph(free_alkali_percent=0.1, strength_percent=1), 2)
10.24
>>> round(free_alkali(ph=10.0, strength_percent=1), 3)
0.058
"""

from __future__ import annotations

import math
from typing import Final

from batches.chemistry import water
from batches.chemistry.constants import MOLAR_MASS_KOH
from batches.chemistry.errors import OutOfRangeError
from batches.chemistry.water import within

ROOM_C: Final = 25.0
COLDEST_C, HOTTEST_C = 0.0, 50.0
STRONGEST_PERCENT: Final = 20.0  # paste and lather are no solutions
# C. W. Davies, Ion Association, 1962, p. 41, with A of 25 °C; as the help of SPANA
# (KTH) has it: up to about 0.1 mol/kg. From 0 to 50 °C A runs from 0.49 to 0.53 (from
# memory), which moves the pH of such a solution by less than 0.01.
DAVIES_A: Final = 0.509
DAVIES_LAST: Final = 0.3
DAVIES_TO: Final = 0.1  # mol/kg
IDEAL_TO: Final = 1.0  # mol/kg: beyond, a pH is hardly defined
HALVINGS: Final = 100


def activity_coefficient(molality: float) -> float:
    """Return γ of a singly charged ion at an ionic strength of 0 to 0.1 mol/kg.

    log γ = −A·(√I/(1 + √I) − 0.3·I), A = 0.509. Source: Davies 1962. Raises
    :class:`OutOfRangeError` outside.

    >>> round(activity_coefficient(0.001), 3), round(activity_coefficient(0.1), 3)
    (0.965, 0.782)
    """
    strength = within(molality, 0.0, DAVIES_TO, "ionic strength (mol/kg)")
    root = math.sqrt(strength)
    return float(10 ** (-DAVIES_A * (root / (1 + root) - DAVIES_LAST * strength)))


def molality(*, free_alkali_percent: float, strength_percent: float) -> float:
    """Return mol KOH per kg of test solution, from the free alkali of the paste.

    Both in percent by mass: KOH in the paste, paste in the solution. The solution is
    taken as water; at 10 % that makes the pH 0.04 too low at most. Raises
    :class:`OutOfRangeError` for a share below 0 or above 100 %, or a strength that is
    no test solution (above 20 %).

    >>> round(molality(free_alkali_percent=0.1, strength_percent=1), 6)
    0.000178
    """
    within(free_alkali_percent, 0.0, 100.0, "free alkali (%)")
    if not 0 < strength_percent <= STRONGEST_PERCENT:
        raise OutOfRangeError(
            f"A solution of {strength_percent:g} % is no test solution. Weigh the paste"
            f" into water: above 0 and up to {STRONGEST_PERCENT:g} %, usually 1 %."
        )
    share = free_alkali_percent / 100 * strength_percent / 100
    return share * 1000 / float(MOLAR_MASS_KOH.value)


def ph_of(molality_koh: float, temperature_c: float = ROOM_C, *, ideal: bool) -> float:
    """Return the pH of KOH in pure water, 0 to 50 °C.

    Ideal: pKw + log m, to 1 mol/kg. Else with the activity coefficients of Davies, to
    0.1 mol/kg. Below some 1e-6 mol/kg water's own ions count and are counted: charge
    balance m(OH) = m(K) + m(H). Source: definition of pH; pKw of IAPWS R11-24. Raises
    :class:`OutOfRangeError` outside.

    >>> round(ph_of(0.01, ideal=True), 2), round(ph_of(0.01, ideal=False), 2)
    (11.99, 11.95)
    >>> round(ph_of(0.0, ideal=True), 2)
    7.0
    """
    t = within(temperature_c, COLDEST_C, HOTTEST_C, "temperature of the solution (°C)")
    limit = IDEAL_TO if ideal else DAVIES_TO
    within(molality_koh, 0.0, limit, "alkali in the solution (mol KOH/kg)")
    gamma = 1.0 if ideal else activity_coefficient(molality_koh)
    pkw = water.ionisation(t)
    own = 10**-pkw / gamma**2
    hydroxide = (molality_koh + math.sqrt(molality_koh**2 + 4 * own)) / 2
    return pkw + math.log10(gamma * hydroxide)


def expected_ph(
    *,
    free_alkali_percent: float,
    strength_percent: float,
    temperature_c: float = ROOM_C,
    ideal: bool = False,
) -> float:
    """Return the least pH that this free alkali gives to the test solution.

    Soap's own alkalinity comes on top; see above. The same paste reads nearly one
    unit higher at 10 % than at 1 %. Raises as :func:`molality` and :func:`ph_of`.

    >>> round(expected_ph(free_alkali_percent=0.1, strength_percent=10), 2)
    11.23
    """
    found = molality(
        free_alkali_percent=free_alkali_percent, strength_percent=strength_percent
    )
    return ph_of(found, temperature_c, ideal=ideal)


def free_alkali(
    *,
    ph: float,
    strength_percent: float,
    temperature_c: float = ROOM_C,
    ideal: bool = False,
) -> float:
    """Return the most free KOH, in percent of the paste, that a pH can stand for.

    The inverse of :func:`expected_ph`: it counts all alkalinity as KOH, that of the
    soap too. Raises :class:`OutOfRangeError` below neutral, where there is none, and
    above what the formula covers.

    >>> round(free_alkali(ph=11.0, strength_percent=1), 2)
    0.59
    """
    per_percent = molality(free_alkali_percent=1.0, strength_percent=strength_percent)
    most = IDEAL_TO if ideal else DAVIES_TO
    neutral = ph_of(0.0, temperature_c, ideal=ideal)
    highest = ph_of(most, temperature_c, ideal=ideal)
    if not neutral <= ph <= highest:
        raise OutOfRangeError(
            f"A pH of {ph:g} is outside {neutral:.2f}, which is neutral at this"
            f" temperature, to {highest:.2f}. Below neutral there is no free alkali:"
            " the soap is splitting, or strip or meter is wrong."
        )
    low, high = 0.0, most
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        if ph_of(middle, temperature_c, ideal=ideal) <= ph:
            low = middle
        else:
            high = middle
    return low / per_percent
