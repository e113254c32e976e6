"""What is in the pot before and after: soap, glycerol, water, and what did not react.

A :class:`Pot` holds masses by substance. Pots add up, a part of a paste is a pot
scaled down, and :func:`react` lets oil and potash become soap: so a dilution, a blend
and a rework three deep are the same few lines as a cook.

The heart of it, :func:`reaction`, is plain arithmetic on whatever it is given: Decimal
here, where masses must close; floats, values with uncertainty and arrays of draws in an
uncertainty budget.

Left out, because nobody weighs it: mono- and diglycerides in the oil.

>>> pot = oil_charge(Decimal(1000), Decimal("187.5")) + potash_charge(
...     Decimal("187.5"), Decimal(1)
... )
>>> made = react(pot)
>>> made.soap.quantize(Decimal("0.1")), made.glycerol.quantize(Decimal("0.1"))
(Decimal('1084.9'), Decimal('102.6'))
>>> made.total == pot.total
True
"""

from __future__ import annotations

import dataclasses
from decimal import Decimal
from typing import Any, Final, NamedTuple

from batches.chemistry.constants import (
    ATOMIC_WEIGHT_C,
    ATOMIC_WEIGHT_H,
    ATOMIC_WEIGHT_K,
    ATOMIC_WEIGHT_O,
    MOLAR_MASS_KOH,
    PERCENT,
)
from batches.chemistry.errors import OutOfRangeError
from batches.chemistry.saponification import check_saponification_value

MOLAR_MASS_GLYCEROL: Final = (
    3 * ATOMIC_WEIGHT_C.value + 8 * ATOMIC_WEIGHT_H.value + 3 * ATOMIC_WEIGHT_O.value
)
MOLAR_MASS_WATER: Final = 2 * ATOMIC_WEIGHT_H.value + ATOMIC_WEIGHT_O.value

# Grams for each gram of KOH. An ester of glycerol takes three of KOH and leaves one
# glycerol; a free acid takes one and leaves one water. Half widths of the molar masses
# are below one part in ten thousand and never matter beside the masses.
GLYCEROL_PER_KOH: Final = MOLAR_MASS_GLYCEROL / (3 * MOLAR_MASS_KOH.value)
WATER_PER_KOH: Final = MOLAR_MASS_WATER / MOLAR_MASS_KOH.value
# What a potassium soap weighs more than its fatty acid. ISO 685 takes off 0.038 g for
# each millimole (its text was not seen; the difference of the atomic weights is plain).
SALT_PER_KOH: Final = (
    ATOMIC_WEIGHT_K.value - ATOMIC_WEIGHT_H.value
) / MOLAR_MASS_KOH.value

# Products of masses and factors are cut to a nanogram, so that sums close exactly.
_STEP: Final = Decimal("1e-9")
# Grams that are missing at most of what was put together from many such parts.
_CUT_OFF: Final = 1000 * _STEP


class Reaction(NamedTuple):
    """What a reaction takes up and leaves, in grams; of the kind that was put in."""

    used: Any
    unreacted: Any
    glycerol: Any
    water: Any
    soap: Any


def lesser(one: Any, other: Any) -> Any:
    """Return the smaller of two, of arrays each smaller one, of ± values by the middle.

    >>> lesser(3.0, 5.0), lesser(Decimal(5), Decimal(3))
    (3.0, Decimal('3'))
    """
    if hasattr(one, "shape") or hasattr(other, "shape"):  # arrays of draws
        return (one + other - abs(one - other)) / 2
    return one if _middle(one) <= _middle(other) else other


def _middle(value: Any) -> Any:
    """Return what a value with uncertainty lies around; others are their own."""
    return getattr(value, "nominal_value", value)


def reaction(
    *,
    oil: Any,
    need: Any,
    acid_need: Any,
    koh: Any,
    glycerol_per_koh: Any = GLYCEROL_PER_KOH,
    water_per_koh: Any = WATER_PER_KOH,
    used: Any = None,
) -> Reaction:
    """Return what comes of ``oil`` grams that need ``need`` grams of KOH.

    ``acid_need`` is the part of the need that free fatty acid takes; it takes it first
    and makes water, the rest are esters and make glycerol. Where ``koh`` is short, only
    what it can saponify reacts, and the rest stays behind as oil of the same
    saponification value. Soap is what conservation of mass leaves:
    oil + KOH − glycerol − water. Any kind of number, the factors of the same kind.

    ``used`` is the KOH taken up, where it is not to be the lesser of need and ``koh``:
    an uncertainty budget looks along one side of that corner at a time.

    Source: stoichiometry, C3H5(OOCR)3 + 3 KOH → 3 RCOOK + C3H8O3 and
    RCOOH + KOH → RCOOK + H2O.

    >>> out = reaction(
    ...     oil=1000.0, need=190.0, acid_need=0.0, koh=190.0,
    ...     glycerol_per_koh=0.5471, water_per_koh=0.3211,
    ... )
    >>> round(out.glycerol, 1), round(out.soap, 1)
    (103.9, 1086.1)
    """
    used = lesser(need, koh) if used is None else used
    acid = lesser(acid_need, used)
    unreacted = oil * (1 - used / need)
    glycerol = (used - acid) * glycerol_per_koh
    water = acid * water_per_koh
    soap = oil - unreacted + used - glycerol - water
    return Reaction(used, unreacted, glycerol, water, soap)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Pot:
    """What is in a pot, in grams.

    ``oil`` is what can still be saponified; it needs ``need`` grams of KOH, of which
    free fatty acid ``acid_need``. ``koh`` is free. ``bound`` is the KOH that stands in
    the soap: no mass of its own. ``water`` includes what potash brings along besides
    KOH. ``other`` is salts, carbonate and additions.
    """

    oil: Decimal = Decimal(0)
    need: Decimal = Decimal(0)
    acid_need: Decimal = Decimal(0)
    unsaponifiable: Decimal = Decimal(0)
    koh: Decimal = Decimal(0)
    water: Decimal = Decimal(0)
    soap: Decimal = Decimal(0)
    bound: Decimal = Decimal(0)
    glycerol: Decimal = Decimal(0)
    other: Decimal = Decimal(0)

    def __add__(self, more: Pot) -> Pot:
        """Return both in one pot."""
        return Pot(
            **{name: getattr(self, name) + getattr(more, name) for name in _FIELDS}
        )

    def part(self, share: Decimal) -> Pot:
        """Return a share of it, 0 to 1, each substance cut to a nanogram.

        >>> Pot(soap=Decimal(46), water=Decimal(54)).part(Decimal("0.4")).soap
        Decimal('18.400000000')
        """
        if not 0 <= share <= 1:
            raise OutOfRangeError(
                f"A share of {share:f} of a batch is not possible. Check the masses."
            )
        return Pot(**{name: _cut(getattr(self, name) * share) for name in _FIELDS})

    @property
    def total(self) -> Decimal:
        """The mass of all of it."""
        return self.solids + self.water

    @property
    def solids(self) -> Decimal:
        """All that cannot boil off as water."""
        return (
            self.oil
            + self.unsaponifiable
            + self.koh
            + self.soap
            + self.glycerol
            + self.other
        )

    @property
    def excess(self) -> Decimal:
        """Grams of KOH left over, below zero where oil is left unsaponified."""
        return self.koh - self.need

    @property
    def fatty_matter(self) -> Decimal:
        """Total fatty matter: fatty acids of the soap, oil and unsaponifiable matter.

        Source: the scope of ISO 685, which counts unsaponifiable matter and glycerides
        in (seen at second hand).

        >>> round(Pot(soap=Decimal("320.5583"), bound=MOLAR_MASS_KOH.value
        ... ).fatty_matter, 3)
        Decimal('282.468')
        """
        return self.soap - self.bound * SALT_PER_KOH + self.oil + self.unsaponifiable


_FIELDS = tuple(field.name for field in dataclasses.fields(Pot))


def _cut(mass: Decimal) -> Decimal:
    return mass.quantize(_STEP)


def oil_charge(
    mass_g: Decimal,
    saponification_value: Decimal,
    *,
    acid_value: Decimal = Decimal(0),
    unsaponifiable_percent: Decimal = Decimal(0),
) -> Pot:
    """Return a weighed oil as a pot. Values in mg KOH per gram of the oil as weighed.

    Raises :class:`OutOfRangeError` for a mass below zero, a saponification value no oil
    has, an acid value above it, or a share outside 0 to 100 %.

    >>> oil_charge(Decimal(100), Decimal(190), acid_value=Decimal(2)).acid_need
    Decimal('0.200000000')
    """
    check_saponification_value(saponification_value)
    if not 0 <= acid_value <= saponification_value:
        raise OutOfRangeError(
            f"An acid value of {acid_value:f} does not fit a saponification value of"
            f" {saponification_value:f}: it lies between 0 and that. Check both."
        )
    if not 0 <= unsaponifiable_percent < PERCENT:
        raise OutOfRangeError(
            f"Unsaponifiable matter of {unsaponifiable_percent:f} % is not possible."
        )
    mass = _mass(mass_g)
    inert = _cut(mass * unsaponifiable_percent / PERCENT)
    return Pot(
        oil=mass - inert,
        unsaponifiable=inert,
        need=_cut(mass * saponification_value / 1000),
        acid_need=_cut(mass * acid_value / 1000),
    )


def potash_charge(mass_g: Decimal, usable_fraction: Decimal) -> Pot:
    """Return weighed potash as a pot: its KOH, and the rest counted as water.

    The rest is mostly water, and a little carbonate; counted so, the water there is
    to boil off is an upper bound. Raises :class:`OutOfRangeError` for a mass below zero
    or a share that is none.

    >>> potash_charge(Decimal(200), Decimal("0.9")).water
    Decimal('20.000000000')
    """
    if not 0 < usable_fraction <= 1:
        raise OutOfRangeError(
            f"A usable share of {usable_fraction:f} is not possible. Check the purity."
        )
    mass = _mass(mass_g)
    koh = _cut(mass * usable_fraction)
    return Pot(koh=koh, water=mass - koh)


def acid_charge(pot: Pot, mass_g: Decimal, koh_per_gram: Decimal) -> Pot:
    """Return ``pot`` with an acid in it that takes up ``koh_per_gram`` of KOH.

    Free KOH becomes salt and water. Beyond it the acid takes the potassium out of soap,
    which is left as free fatty acid: oil that potash can make soap of again. Source:
    KOH + HA → KA + H2O, then RCOOK + HA → RCOOH + KA. Raises :class:`OutOfRangeError`
    where it takes more than all the alkali there is.

    >>> soured = acid_charge(Pot(koh=Decimal(3)), Decimal("2.28"), Decimal("0.876"))
    >>> soured.koh, soured.total
    (Decimal('1.002720000'), Decimal('5.280000000'))
    """
    mass = _mass(mass_g)
    taken = _cut(mass * koh_per_gram)
    from_soap = max(taken - pot.koh, Decimal(0))
    if from_soap > pot.bound:
        raise OutOfRangeError(
            "This is more acid than all the alkali in the pot can take up. Check its"
            " mass and unit."
        )
    water = _cut((taken - from_soap) * WATER_PER_KOH)
    split = _cut(from_soap * pot.soap / pot.bound) if from_soap else Decimal(0)
    fatty_acid = split - _cut(from_soap * SALT_PER_KOH)
    return dataclasses.replace(
        pot,
        koh=pot.koh - (taken - from_soap),
        soap=pot.soap - split,
        bound=pot.bound - from_soap,
        oil=pot.oil + fatty_acid,
        need=pot.need + from_soap,
        acid_need=pot.acid_need + from_soap,
        water=pot.water + water,
        other=pot.other + mass + (taken - from_soap - water) + (split - fatty_acid),
    )


def react(pot: Pot) -> Pot:
    """Return the pot when all has reacted that can; its mass is exactly the same.

    Source: :func:`reaction`. Nothing happens without oil.

    >>> short = oil_charge(Decimal(1000), Decimal(190)) + Pot(koh=Decimal(171))
    >>> react(short).oil, react(short).koh
    (Decimal('100.000000000'), Decimal('0E-9'))
    """
    if not pot.need or not pot.koh:
        return pot
    out = Reaction(
        *(
            _cut(mass)
            for mass in reaction(
                oil=pot.oil, need=pot.need, acid_need=pot.acid_need, koh=pot.koh
            )
        )
    )
    acid_used = lesser(pot.acid_need, out.used)
    return dataclasses.replace(
        pot,
        oil=out.unreacted,
        need=pot.need - out.used,
        acid_need=pot.acid_need - acid_used,
        koh=pot.koh - out.used,
        water=pot.water + out.water,
        soap=pot.soap + (pot.oil - out.unreacted + out.used - out.glycerol - out.water),
        bound=pot.bound + out.used,
        glycerol=pot.glycerol + out.glycerol,
    )


def weighing(pot: Pot, mass_g: Decimal) -> Pot:
    """Return the pot boiled down to ``mass_g``: only water leaves it.

    Raises :class:`OutOfRangeError` where there is not so much water, or more mass than
    the pot holds; but for what :meth:`Pot.part` cut off, far below any scale.

    >>> weighing(Pot(soap=Decimal(46), water=Decimal(60)), Decimal(100)).water
    Decimal('54')
    """
    water = mass_g - pot.solids
    if water < 0:
        raise OutOfRangeError(
            f"{mass_g:f} g is less than soap, glycerol and the rest weigh without any"
            " water. Check the masses and tares."
        )
    if water > pot.water + _CUT_OFF:
        raise OutOfRangeError(
            f"{mass_g:f} g is more than went in. Check the masses and tares."
        )
    return dataclasses.replace(pot, water=water)


def content_percent(part: Any, whole: Any) -> Any:
    """Return a part in percent of the whole; plain arithmetic.

    Raises :class:`OutOfRangeError` where there is no whole.

    >>> content_percent(Decimal(46), Decimal(200))
    Decimal('23')
    """
    if not _is_positive(whole):
        raise OutOfRangeError("There is nothing to be a part of. Weigh what came out.")
    return part * 100 / whole


def _is_positive(whole: Any) -> bool:
    """Say so of a number; arrays of draws are let through, they are never shown."""
    return not isinstance(whole, float | int | Decimal) or whole > 0


def _mass(mass_g: Decimal) -> Decimal:
    if mass_g < 0:
        raise OutOfRangeError("A mass cannot be below zero. Weigh again.")
    return mass_g
