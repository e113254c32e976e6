"""How hot potash and water get when they come together.

No heat is taken to escape, and the heat capacity is that of the strong solution,
never water's, which would hide up to a third of the rise. Floats: a bound for a
warning, built on an integral and a root, good to some degrees.

There are two answers. The upper one takes the heat of dry KOH at infinite dilution; in
strong lye less is set free, so it errs on the safe side, and it is the one to be
warned by. The lower one takes what is not KOH in the potash as water of its hydrate,
which has given off its heat already. It too is for infinite dilution, and no heat
escapes in it, so a pot can stay below it.

>>> got = heating(potash_g=200, usable_fraction=0.9, water_g=900, start_c=20)
>>> round(got.low.temperature_c or 0), round(got.high.temperature_c or 0)
(56, 69)
>>> heating(potash_g=200, usable_fraction=0.9, water_g=400, start_c=20).high.boils
True
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from decimal import Decimal
from typing import Final

from batches.chemistry import lye
from batches.chemistry.constants import MOLAR_MASS_KOH, Constant
from batches.chemistry.errors import OutOfRangeError
from batches.chemistry.water import BOILING_C, MOLAR_MASS_WATER, within

# Heat given off at 25 °C, infinite dilution; half widths: half the last digit printed.
_CRC = "CRC Handbook, Enthalpy of Solution of Electrolytes, after V. B. Parker"
_EDITION = "NSRDS-NBS 2, 1965; read at zanotowane.pl/1016/4239"
HEAT_OF_DRY: Final = Constant(
    Decimal("57.61"), "kJ/mol", Decimal("0.005"), _CRC, _EDITION
)
HEAT_OF_HYDRATE: Final = Constant(
    Decimal("14.64"), "kJ/mol", Decimal("0.005"), _CRC, _EDITION
)
ROOM_C: Final = 20.0
PANELS: Final = 16  # of Simpson's rule; the heat capacity is nearly a straight line
HALVINGS: Final = 60
WEAKEST: Final = 0.001  # strength of the weakest lye that is searched for


@dataclasses.dataclass(frozen=True, kw_only=True)
class Peak:
    """The highest temperature in °C; None with ``boils`` where it reaches boiling.

    Boiling is taken at 100 °C, water's at normal pressure. Strong lye boils some
    degrees above, but it boils around a lump long before the whole does.
    """

    temperature_c: float | None
    boils: bool


@dataclasses.dataclass(frozen=True, kw_only=True)
class Heating:
    """What mixing can lead to: ``low`` with hydrate in the potash, ``high`` with none.

    ``strength`` is grams of KOH per gram of lye.
    """

    strength: float
    low: Peak
    high: Peak


def heat_of_solution(usable_fraction: float) -> float:
    """Return kJ given off per mole of KOH if the rest of the potash is bound water.

    All that is not KOH counts as water of KOH·H2O, at most one for each: of 90 %
    potash 34.6 % of the KOH is hydrate. Source: mixture rule on the enthalpies of the
    CRC Handbook, 57.61 (KOH) and 14.64 (KOH·H2O) kJ/mol. Raises
    :class:`OutOfRangeError` for a share that is none.

    >>> round(heat_of_solution(0.9), 2), heat_of_solution(1.0)
    (42.74, 57.61)
    """
    _check_share(usable_fraction)
    water_mol = (1 - usable_fraction) / MOLAR_MASS_WATER
    hydrate = min(water_mol / (usable_fraction / float(MOLAR_MASS_KOH.value)), 1.0)
    dry = float(HEAT_OF_DRY.value)
    return dry - hydrate * (dry - float(HEAT_OF_HYDRATE.value))


def peak(*, strength: float, heat_kj_mol: float, start_c: float) -> Peak:
    """Return how hot lye of ``strength`` gets when its KOH sets ``heat_kj_mol`` free.

    Both start at ``start_c``, 4 °C or more. The rise T solves w·q/M = ∫ c(w, t) dt
    from start to T, with the heat capacity of :func:`lye.heat_capacity`. Raises
    :class:`OutOfRangeError` beyond its range, 46.5 %: no extrapolation.

    >>> peak(strength=1 / 6, heat_kj_mol=57.61, start_c=20).boils
    False
    """
    within(heat_kj_mol, 0.0, float(HEAT_OF_DRY.value), "heat of solution (kJ/mol)")
    within(start_c, lye.HEAT_FROM_C, BOILING_C, "temperature to start from (°C)")
    given_off = _heat_given_off(strength, heat_kj_mol)
    if given_off >= _heat_taken_up(strength, start_c, BOILING_C):
        return Peak(temperature_c=None, boils=True)
    hottest = _where_it_turns(
        lambda t: _heat_taken_up(strength, start_c, t) <= given_off, start_c, BOILING_C
    )
    return Peak(temperature_c=hottest, boils=False)


def heating(
    *, potash_g: float, usable_fraction: float, water_g: float, start_c: float = ROOM_C
) -> Heating:
    """Return what mixing potash into water of one temperature can lead to.

    Masses in g. The range is that of the two states of dry and hydrated potash; see
    above. Raises :class:`OutOfRangeError` for impossible masses, for lye above 46.5 %
    and for a start below 4 °C or above 100 °C.

    >>> heating(potash_g=180, usable_fraction=1, water_g=1800).high.boils
    False
    """
    strength = _strength(potash_g, usable_fraction, water_g)
    return Heating(
        strength=strength,
        low=peak(
            strength=strength,
            heat_kj_mol=heat_of_solution(usable_fraction),
            start_c=start_c,
        ),
        high=peak(
            strength=strength, heat_kj_mol=float(HEAT_OF_DRY.value), start_c=start_c
        ),
    )


def water_to_stay_under(
    *, potash_g: float, usable_fraction: float, limit_c: float, start_c: float = ROOM_C
) -> float:
    """Return the least water in g with which the upper figure stays at ``limit_c``.

    The inverse of :func:`heating`. Raises :class:`OutOfRangeError` for a limit at or
    below the start or from boiling on, and for a lye as weak as no cook uses.

    >>> round(water_to_stay_under(potash_g=200, usable_fraction=0.9, limit_c=70))
    880
    """
    _check_limit(limit_c, start_c)
    _strength(potash_g, usable_fraction, 1.0)

    def stays_under(strength: float) -> bool:
        return _stays_under(strength, start_c, limit_c)

    if not stays_under(WEAKEST):
        raise OutOfRangeError(
            f"From {start_c:g} °C no useful lye stays under {limit_c:g} °C. Choose a"
            " higher temperature or colder water."
        )
    strongest = _where_it_turns(stays_under, WEAKEST, lye.HEAT_TO_STRENGTH)
    return max(potash_g * usable_fraction / strongest - potash_g, 0.0)


def water_temperature_to_stay_under(
    *,
    potash_g: float,
    usable_fraction: float,
    water_g: float,
    limit_c: float,
    room_c: float = ROOM_C,
) -> float | None:
    """Return how warm the water may be at most, in °C; None if none is cold enough.

    The potash comes at ``room_c`` and is counted with the heat capacity of the lye,
    more than its own: the safe side. The start of both together must be 4 °C or more,
    where the model begins. Raises as :func:`heating` does.

    >>> warmest = water_temperature_to_stay_under(
    ...     potash_g=200, usable_fraction=0.9, water_g=900, limit_c=70
    ... )
    >>> round(warmest or 0, 1)
    21.4
    """
    _check_limit(limit_c, lye.HEAT_FROM_C)
    strength = _strength(potash_g, usable_fraction, water_g)

    def stays_under(start_c: float) -> bool:
        return _stays_under(strength, start_c, limit_c)

    if not stays_under(lye.HEAT_FROM_C):
        return None
    together = _where_it_turns(stays_under, lye.HEAT_FROM_C, limit_c)
    warmest = (together * (potash_g + water_g) - room_c * potash_g) / water_g
    return warmest if warmest >= 0 else None


def _strength(potash_g: float, usable_fraction: float, water_g: float) -> float:
    _check_share(usable_fraction)
    if not (potash_g > 0 and water_g > 0):
        raise OutOfRangeError("Weigh potash and water: there is no lye without them.")
    return potash_g * usable_fraction / (potash_g + water_g)


def _check_share(usable_fraction: float) -> None:
    if not 0 < usable_fraction <= 1:
        raise OutOfRangeError(
            f"A usable share of {usable_fraction:g} is not possible. Check the purity."
        )


def _check_limit(limit_c: float, start_c: float) -> None:
    if not start_c < limit_c < BOILING_C:
        raise OutOfRangeError(
            f"A limit of {limit_c:g} °C does not lie between the start,"
            f" {start_c:g} °C, and boiling. Choose another."
        )


def _stays_under(strength: float, start_c: float, limit_c: float) -> bool:
    """Say whether dry potash makes a lye no hotter than the limit."""
    given_off = _heat_given_off(strength, float(HEAT_OF_DRY.value))
    return given_off <= _heat_taken_up(strength, start_c, limit_c)


def _heat_given_off(strength: float, heat_kj_mol: float) -> float:
    """Return J per gram of lye."""
    return strength / float(MOLAR_MASS_KOH.value) * heat_kj_mol * 1000


def _heat_taken_up(strength: float, from_c: float, to_c: float) -> float:
    """Return J per gram of lye between two temperatures, by Simpson's rule."""
    step = (to_c - from_c) / PANELS
    values = [
        lye.heat_capacity(strength, from_c + step * index)
        for index in range(PANELS + 1)
    ]
    odd, even = sum(values[1:-1:2]), sum(values[2:-1:2])
    return step / 3 * (values[0] + 4 * odd + 2 * even + values[-1])


def _where_it_turns(holds: Callable[[float], bool], low: float, high: float) -> float:
    """Return where ``holds``, true at ``low``, ceases to be; ``high`` if it never does.

    By halving; every model here runs one way.
    """
    if holds(high):
        return high
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        if holds(middle):
            low = middle
        else:
            high = middle
    return low
