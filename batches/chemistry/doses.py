"""How much product a tank or a load of washing takes, and what hard water eats of it.

Calcium and magnesium throw soap out as lime soap, two soaps for each metal ion
(2 RCOOK + Ca²⁺ → (RCOO)₂Ca + 2 K⁺). What is reckoned here is the most that can be
lost, all of the metal being caught: an upper bound, said so wherever it is shown.
Decimal, because the results are weighed out and the inputs are typed.

>>> tank = spray_tank(
...     litres=Decimal(10),
...     target_g_per_l=Decimal(8),
...     content_percent=Decimal(46),
...     hardness_mmol_l=Decimal(0),
... )
>>> tank.paste_g.quantize(Decimal("0.1"))
Decimal('173.9')
"""

from __future__ import annotations

import dataclasses
from decimal import Decimal
from typing import Final

from batches.chemistry.constants import (
    ATOMIC_WEIGHT_C,
    ATOMIC_WEIGHT_H,
    ATOMIC_WEIGHT_K,
    ATOMIC_WEIGHT_O,
    MOLAR_MASS_KOH,
    PERCENT,
    Constant,
)
from batches.chemistry.errors import OutOfRangeError
from batches.chemistry.hardness import HardnessUnit, to_mmol

# C18H33KO2. The usual stand-in where the oils are not known.
MOLAR_MASS_POTASSIUM_OLEATE: Final = Constant(
    18 * ATOMIC_WEIGHT_C.value
    + 33 * ATOMIC_WEIGHT_H.value
    + ATOMIC_WEIGHT_K.value
    + 2 * ATOMIC_WEIGHT_O.value,
    "g/mol",
    18 * ATOMIC_WEIGHT_C.half_width
    + 33 * ATOMIC_WEIGHT_H.half_width
    + ATOMIC_WEIGHT_K.half_width
    + 2 * ATOMIC_WEIGHT_O.half_width,
    "sum of the atomic weights of the constants",
    "2021",
)
SOAP_PER_METAL: Final = 2  # mol of soap for each mol of calcium or magnesium

# Ours, g/mol: around potassium caprylate (182) and the soap of a saponification value
# of 160 (376).
LIGHTEST_SOAP: Final = Decimal(150)
HEAVIEST_SOAP: Final = Decimal(400)

# Above what any extension text names for soap on plants (about 2 to 3 %, see
# spray_rate_words).
HIGHEST_SPRAY_G_PER_L: Final = Decimal(30)

# Common practice, no source: what a main wash in a front loader takes.
USUAL_SUDS_L: Final = Decimal(15)
USUAL_SOAP_PER_LOAD_G: Final = Decimal(25)
# Medium: Regulation (EC) 648/2004, Annex VII B counts loads at 2.5 mmol/l. Soft: the
# middle of the soft range of the WRMG. Hard: common practice, no source.
DOSE_HARDNESSES: Final = (
    ("soft", Decimal("0.75")),
    ("medium", Decimal("2.5")),
    ("hard", Decimal("3.5")),
)


def soap_molar_mass(soap_g: Decimal, bound_koh_g: Decimal) -> Decimal:
    """Return the mean molar mass in g/mol of soap that holds so many grams of KOH.

    Each mole of soap took up one of KOH, whatever the oils: M = m(soap)·M(KOH)/m(KOH).
    For one neutral fat that is 1000·M(KOH)/SV − 12.68 + 38.09, from its
    saponification value SV. Source: stoichiometry. Raises :class:`OutOfRangeError`
    without soap, and outside 150 to 400 g/mol, which no mixture of fats gives.

    >>> soap_molar_mass(Decimal("1086.08"), Decimal("190.09")).quantize(Decimal("0.1"))
    Decimal('320.6')
    """
    if soap_g <= 0 or bound_koh_g <= 0:
        raise OutOfRangeError("There is no soap in it, so nothing to dose.")
    mass = soap_g * MOLAR_MASS_KOH.value / bound_koh_g
    if not LIGHTEST_SOAP <= mass <= HEAVIEST_SOAP:
        raise OutOfRangeError(
            f"A soap of {mass:.0f} g/mol is outside {LIGHTEST_SOAP} to {HEAVIEST_SOAP}."
            " Check what was weighed in, and its figures."
        )
    return mass


def soap_lost_to_hardness(
    *,
    hardness_mmol_l: Decimal,
    litres: Decimal,
    molar_mass: Decimal = MOLAR_MASS_POTASSIUM_OLEATE.value,
) -> Decimal:
    """Return the most grams of soap that so much water of this hardness throws out.

    2·M·H·V: an upper bound, all calcium and magnesium caught. ``molar_mass`` is that
    of the soap, g/mol; potassium oleate where the oils are not known. Source:
    2 RCOOK + Ca²⁺ → (RCOO)₂Ca + 2 K⁺. Raises :class:`OutOfRangeError` for water below
    zero and for a hardness outside 0 to 20 mmol/l.

    >>> lost = soap_lost_to_hardness(hardness_mmol_l=Decimal(1), litres=Decimal(1))
    >>> lost.quantize(Decimal("0.0001"))
    Decimal('0.6411')
    """
    if litres < 0:
        raise OutOfRangeError("So many litres cannot be. Measure the water again.")
    if molar_mass <= 0:
        raise OutOfRangeError("A molar mass is above zero. Check the oils.")
    mmol = to_mmol(hardness_mmol_l, HardnessUnit.MMOL)
    return SOAP_PER_METAL * molar_mass * mmol * litres / 1000


@dataclasses.dataclass(frozen=True, kw_only=True)
class Dose:
    """Soap that works, soap lost to hardness and product to weigh, all in grams."""

    working_g: Decimal
    lost_g: Decimal
    product_g: Decimal

    def product_ml(self, density: Decimal) -> Decimal:
        """Return the millilitres of product, of ``density`` g/ml at 20 °C.

        Source: definition of density. Raises :class:`OutOfRangeError` for a density
        that is not above zero.

        >>> dose = Dose(working_g=Decimal(9), lost_g=Decimal(0), product_g=Decimal(51))
        >>> round(dose.product_ml(Decimal("1.02")))
        50
        """
        if density <= 0:
            raise OutOfRangeError(
                "A density is above zero. Weigh 100 ml and divide by 100."
            )
        return self.product_g / density


@dataclasses.dataclass(frozen=True, kw_only=True)
class SprayTank:
    """What goes into a tank: grams of paste or liquid, and millilitres of water."""

    dose: Dose
    litres: Decimal

    @property
    def paste_g(self) -> Decimal:
        """Grams of product to weigh."""
        return self.dose.product_g

    @property
    def water_g(self) -> Decimal:
        """Grams of water, a millilitre each: what is left of the volume."""
        return self.litres * 1000 - self.dose.product_g


def spray_tank(
    *,
    litres: Decimal,
    target_g_per_l: Decimal,
    content_percent: Decimal,
    hardness_mmol_l: Decimal,
    molar_mass: Decimal = MOLAR_MASS_POTASSIUM_OLEATE.value,
) -> SprayTank:
    """Return how much paste makes a tank of so many grams of soap per litre.

    (target·V + loss to hardness)/content; a litre of so thin a solution counts as
    1 kg. Source: conservation of the soap, and the bound of
    :func:`soap_lost_to_hardness`. Raises :class:`OutOfRangeError` for an empty tank, a
    target of nothing or above 30 g/l, and a product too thin to reach it.

    >>> tank = spray_tank(
    ...     litres=Decimal(10),
    ...     target_g_per_l=Decimal(8),
    ...     content_percent=Decimal(40),
    ...     hardness_mmol_l=Decimal(2),
    ... )
    >>> tank.dose.lost_g.quantize(Decimal("0.1")), round(tank.paste_g)
    (Decimal('12.8'), 232)
    """
    if litres <= 0:
        raise OutOfRangeError("A tank holds more than nothing. Write its litres.")
    if not 0 < target_g_per_l <= HIGHEST_SPRAY_G_PER_L:
        raise OutOfRangeError(
            f"A spray of {target_g_per_l:f} g of soap per litre is outside 0 to"
            f" {HIGHEST_SPRAY_G_PER_L}. More harms plants. Check the unit: 1 % is"
            " 10 g/l."
        )
    dose = _dose(
        target_g_per_l * litres, litres, content_percent, hardness_mmol_l, molar_mass
    )
    if dose.product_g >= litres * 1000:
        raise OutOfRangeError(
            f"With {content_percent:f} % of soap this product is too thin for such a"
            " tank: there would be no room for water. Take the paste, or softer water."
        )
    return SprayTank(dose=dose, litres=litres)


def rate_of_tank(
    *,
    product_g: Decimal,
    litres: Decimal,
    content_percent: Decimal,
    hardness_mmol_l: Decimal,
    molar_mass: Decimal = MOLAR_MASS_POTASSIUM_OLEATE.value,
) -> Decimal:
    """Return the grams of soap per litre that a weighed tank has left to work with.

    The way back of :func:`spray_tank`: product·content/volume − loss to hardness. The
    loss is its upper bound, so this is the least; below zero the water takes more soap
    than there is. Source: conservation of the soap. Raises :class:`OutOfRangeError`
    for an empty tank, no product, and a content outside 0 to 100 %.

    >>> rate = rate_of_tank(
    ...     product_g=Decimal(232),
    ...     litres=Decimal(10),
    ...     content_percent=Decimal(40),
    ...     hardness_mmol_l=Decimal(2),
    ... )
    >>> rate.quantize(Decimal("0.01"))
    Decimal('8.00')
    """
    if litres <= 0:
        raise OutOfRangeError("A tank holds more than nothing. Write its litres.")
    if product_g <= 0:
        raise OutOfRangeError("Nothing was weighed into the tank. Weigh the product.")
    if not 0 < content_percent <= PERCENT:
        raise OutOfRangeError(
            f"A soap content of {content_percent:f} % is not possible. Check it."
        )
    lost = soap_lost_to_hardness(
        hardness_mmol_l=hardness_mmol_l, litres=litres, molar_mass=molar_mass
    )
    return (product_g * content_percent / PERCENT - lost) / litres


def spray_rate_words(target_g_per_l: Decimal) -> str:
    """Return what others say about a spray of so many grams of soap per litre.

    Sources: Infonet-Biovision, “Soap spray”: 5 to 8 g/l work against aphids and small
    caterpillars, 10 g/l can kill plants; Colorado State University Extension 5.547:
    about 2 % of the product, which is 20 g/l. They disagree, so: start low.

    >>> spray_rate_words(Decimal(6))
    'Published rates begin at 5 to 8 g/l. Start low and try one leaf first.'
    """
    if target_g_per_l < Decimal(5):
        return "Below the 5 to 8 g/l that are published as working; a place to start."
    if target_g_per_l < Decimal(10):
        return "Published rates begin at 5 to 8 g/l. Start low and try one leaf first."
    return (
        "10 g/l and more can kill plants, says one source; others spray about 2 %,"
        " which is 20 g/l, on hardy ones. Start with 5 to 8 g/l and try one leaf first."
    )


def wash_dose(
    *,
    base_soap_g: Decimal,
    litres: Decimal,
    content_percent: Decimal,
    hardness_mmol_l: Decimal,
    molar_mass: Decimal = MOLAR_MASS_POTASSIUM_OLEATE.value,
) -> Dose:
    """Return how much product a load of washing takes.

    (base + loss to hardness)/content: ``base_soap_g`` is the soap that shall work in
    the suds, ``litres`` the water of the main wash. Both are common practice, no
    source (:data:`USUAL_SOAP_PER_LOAD_G`, :data:`USUAL_SUDS_L`). Source of the rest:
    conservation of the soap. Raises :class:`OutOfRangeError` for a base of nothing.

    >>> dose = wash_dose(
    ...     base_soap_g=Decimal(25),
    ...     litres=Decimal(15),
    ...     content_percent=Decimal(18),
    ...     hardness_mmol_l=Decimal("2.5"),
    ... )
    >>> round(dose.lost_g, 1), round(dose.product_g)
    (Decimal('24.0'), 272)
    """
    if base_soap_g <= 0:
        raise OutOfRangeError("Washing needs some soap. Write the grams for a load.")
    if litres <= 0:
        raise OutOfRangeError("Washing needs water. Write the litres of the main wash.")
    return _dose(base_soap_g, litres, content_percent, hardness_mmol_l, molar_mass)


def _dose(
    working_g: Decimal,
    litres: Decimal,
    content_percent: Decimal,
    hardness_mmol_l: Decimal,
    molar_mass: Decimal,
) -> Dose:
    if not 0 < content_percent <= PERCENT:
        raise OutOfRangeError(
            f"A soap content of {content_percent:f} % is not possible. Check it."
        )
    lost = soap_lost_to_hardness(
        hardness_mmol_l=hardness_mmol_l, litres=litres, molar_mass=molar_mass
    )
    product = (working_g + lost) * PERCENT / content_percent
    return Dose(working_g=working_g, lost_g=lost, product_g=product)
