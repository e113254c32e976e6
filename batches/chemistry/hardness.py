"""How hard water is, in the units in which waterworks and strips say it.

Everything is computed in mmol/l of calcium and magnesium together. A hardness as mg/l
of calcium carbonate counts both metals as if they were calcium. Decimal, because the
old degrees are defined by whole milligrams and exact gallons, and a value on the edge
of a range must be seen to lie on it.

>>> convert(Decimal(14), HardnessUnit.GERMAN, HardnessUnit.MMOL).quantize(
...     Decimal("0.001")
... )
Decimal('2.497')
"""

from __future__ import annotations

import enum
from decimal import Decimal
from typing import Final

from batches.chemistry.constants import ATOMIC_WEIGHT_C, ATOMIC_WEIGHT_O, Constant
from batches.chemistry.errors import ChemistryError, OutOfRangeError

ATOMIC_WEIGHT_CA: Final = Constant(
    Decimal("40.078"),
    "g/mol",
    Decimal("0.004"),
    "IUPAC CIAAW, standard atomic weights",
    "2021",
)
MOLAR_MASS_CACO3: Final = (
    ATOMIC_WEIGHT_CA.value + ATOMIC_WEIGHT_C.value + 3 * ATOMIC_WEIGHT_O.value
)
MOLAR_MASS_CAO: Final = ATOMIC_WEIGHT_CA.value + ATOMIC_WEIGHT_O.value

# Exact by definition: the grain of the International Yard and Pound Agreement (1959),
# the gallon of the United Kingdom (1985) and the one of the United States (231 cubic
# inches).
GRAIN_MG: Final = Decimal("64.79891")
IMPERIAL_GALLON_L: Final = Decimal("4.54609")
US_GALLON_L: Final = Decimal("3.785411784")

# Ours: ten times what a washing machine likes; sea water has some 60 mmol/l. Above it
# the unit is wrong nearly always.
HIGHEST_HARDNESS: Final = Decimal(20)


class UnknownUnitError(ChemistryError):
    """A unit of hardness that is not known; the message names those that are."""


class HardnessUnit(enum.StrEnum):
    """The units of hardness, each written as it is printed."""

    MMOL = "mmol/l"
    CARBONATE = "mg/l CaCO3"
    GERMAN = "°dH"
    FRENCH = "°fH"
    ENGLISH = "°e"
    US_GRAINS = "gpg"

    @property
    def meaning(self) -> str:
        """The unit in words."""
        return _MEANINGS[self]


_MEANINGS: Final = {
    HardnessUnit.MMOL: "millimoles of calcium and magnesium per litre",
    HardnessUnit.CARBONATE: "milligrams of calcium carbonate per litre, also ppm",
    HardnessUnit.GERMAN: "German degrees: 10 mg of calcium oxide per litre",
    HardnessUnit.FRENCH: "French degrees: 10 mg of calcium carbonate per litre",
    HardnessUnit.ENGLISH: "English or Clark degrees: 1 grain per imperial gallon",
    HardnessUnit.US_GRAINS: "grains of calcium carbonate per US gallon",
}

# mmol/l in one of each.
_MMOL: Final = {
    HardnessUnit.MMOL: Decimal(1),
    HardnessUnit.CARBONATE: 1 / MOLAR_MASS_CACO3,
    HardnessUnit.GERMAN: 10 / MOLAR_MASS_CAO,
    HardnessUnit.FRENCH: 10 / MOLAR_MASS_CACO3,
    HardnessUnit.ENGLISH: GRAIN_MG / IMPERIAL_GALLON_L / MOLAR_MASS_CACO3,
    HardnessUnit.US_GRAINS: GRAIN_MG / US_GALLON_L / MOLAR_MASS_CACO3,
}


def unit_named(name: str) -> HardnessUnit:
    """Return the unit that is written ``name``, or raise :class:`UnknownUnitError`.

    >>> unit_named("°dH").meaning
    'German degrees: 10 mg of calcium oxide per litre'
    >>> unit_named("degrees")
    Traceback (most recent call last):
    batches.chemistry.hardness.UnknownUnitError: “degrees” is not a unit of hardness we \
know. Use one of mmol/l, mg/l CaCO3, °dH, °fH, °e, gpg: English and German degrees differ.
    """  # noqa: E501 - the message is one line
    for unit in HardnessUnit:
        if unit.value.casefold() == name.strip().casefold():
            return unit
    raise UnknownUnitError(
        f"“{name}” is not a unit of hardness we know. Use one of"
        f" {', '.join(HardnessUnit)}: English and German degrees differ."
    )


def to_mmol(value: Decimal, unit: HardnessUnit) -> Decimal:
    """Return a hardness in mmol/l. Source: the definitions of the units.

    Raises :class:`OutOfRangeError` below zero and above 20 mmol/l.

    >>> to_mmol(Decimal("100.086"), HardnessUnit.CARBONATE)
    Decimal('1')
    """
    mmol = value * _MMOL[unit]
    if value < 0:
        raise OutOfRangeError("A hardness cannot be below zero. Read it again.")
    if mmol > HIGHEST_HARDNESS:
        raise OutOfRangeError(
            f"A hardness of {value:f} {unit} is more than"
            f" {HIGHEST_HARDNESS} mmol/l, which tap and well water does not reach."
            " Check the unit."
        )
    # Where one unit divides by the constant and this multiplies, the last digits of
    # the quotient would show; 20 are far more than the atomic weights carry.
    return round(mmol, 20).normalize()


def from_mmol(mmol_l: Decimal, unit: HardnessUnit) -> Decimal:
    """Return a hardness of so many mmol/l in ``unit``. Source: as :func:`to_mmol`.

    >>> from_mmol(Decimal("2.5"), HardnessUnit.GERMAN).quantize(Decimal("0.01"))
    Decimal('14.02')
    """
    to_mmol(mmol_l, HardnessUnit.MMOL)  # refuses what no tap gives
    return mmol_l / _MMOL[unit]


def convert(value: Decimal, old: HardnessUnit, new: HardnessUnit) -> Decimal:
    """Return a hardness read in one unit as the number of another.

    Source: the definitions of the units. Raises as :func:`to_mmol` does.

    >>> convert(Decimal(10), HardnessUnit.GERMAN, HardnessUnit.FRENCH).quantize(
    ...     Decimal("0.01")
    ... )
    Decimal('17.85')
    """
    return from_mmol(to_mmol(value, old), new)


SOFT_BELOW: Final = Decimal("1.5")
HARD_ABOVE: Final = Decimal("2.5")


def hardness_range(mmol_l: Decimal) -> str:
    """Return “soft”, “medium” or “hard” for a hardness in mmol/l.

    Source: the German Wasch- und Reinigungsmittelgesetz (WRMG) § 9 (2): below 1.5,
    from 1.5 to 2.5, above 2.5 mmol/l of calcium carbonate. Other countries draw other
    lines; detergent labels of the Union know these three words.

    >>> [hardness_range(Decimal(value)) for value in ("1.49", "1.5", "2.5", "2.51")]
    ['soft', 'medium', 'medium', 'hard']
    """
    value = to_mmol(mmol_l, HardnessUnit.MMOL)
    if value < SOFT_BELOW:
        return "soft"
    return "medium" if value <= HARD_ABOVE else "hard"
