"""What acid or alkali from a burette says: free alkali, oils, lye and potash.

Volumes in millilitres, concentrations in moles of H⁺ or OH⁻ per litre, masses in grams,
all Decimal: a result is held against limits and stands on a record. The molar mass of
potassium hydroxide is 56.1053 g/mol (IUPAC); standards for oils print 56.1, one part in
ten thousand less.

>>> free_alkali(
...     mass_g=Decimal(10), volume_ml=Decimal(2), concentration=Decimal("0.1")
... ).quantize(Decimal("0.0001"))
Decimal('0.1122')
"""

from __future__ import annotations

from decimal import Decimal
from typing import Final

from batches.chemistry.constants import (
    HIGHEST_SAPONIFICATION_VALUE,
    LOWEST_SAPONIFICATION_VALUE,
    MOLAR_MASS_K2CO3,
    MOLAR_MASS_KOH,
    PERCENT,
    Constant,
)
from batches.chemistry.errors import ChemistryError, OutOfRangeError

KOH: Final = MOLAR_MASS_KOH.value
# mmol × g/mol is mg; mg per g is a tenth of a percent.
_MG_PER_G_IN_PERCENT: Final = 10

# mol/l. A kitchen bench has 0.1 to 1; outside this the label was misread.
WEAKEST_TITRANT: Final = Decimal("0.001")
STRONGEST_TITRANT: Final = Decimal(5)
# °C in which the linear correction of an ethanolic solution is used. Ours; no source.
COLDEST_BENCH: Final = Decimal(5)
HOTTEST_BENCH: Final = Decimal(40)
# mg KOH/g: pure caprylic acid, the shortest of food oils, has 389.
HIGHEST_ACID_VALUE: Final = Decimal(400)
ETHANOL_EXPANSION: Final = Constant(
    value=Decimal("0.0011"),
    unit="1/°C",
    half_width=Decimal("0.00005"),
    source="EN 14104, clause 10, note; the half width is half its last digit",
    edition="2003",
)


class EndPointError(ChemistryError):
    """The two end points do not fit a mixture of hydroxide and carbonate."""


def free_alkali(
    *,
    mass_g: Decimal,
    volume_ml: Decimal,
    concentration: Decimal,
    blank_ml: Decimal = Decimal(0),
) -> Decimal:
    """Return free alkali of a soap, in percent of KOH by mass: 5.61·(V − V0)·c/m.

    The soap is dissolved in hot alcohol that was made neutral to phenolphthalein, and
    titrated with acid until the pink is gone. Never in water: there the acid goes on to
    split the soap. ``blank_ml`` is what the alcohol alone takes. Source of the
    principle: ISO 456:1973, ethanol method; the formula is stoichiometry, ASTM D460.

    >>> free_alkali(
    ...     mass_g=Decimal("5.1"),
    ...     volume_ml=Decimal("8.5"),
    ...     concentration=Decimal("0.1"),
    ... ).quantize(Decimal("0.001"))
    Decimal('0.935')

    Raises :class:`OutOfRangeError` for amounts no bench has, for a blank above the
    sample's volume, and for more than all.
    """
    net = _more_than_blank(volume_ml, blank_ml)
    percent = _mg_per_g(mass_g, net, concentration) / _MG_PER_G_IN_PERCENT
    return _share(percent, "Free alkali")


def total_alkali(
    *,
    mass_g: Decimal,
    acid_ml: Decimal,
    acid_concentration: Decimal,
    back_ml: Decimal,
    back_concentration: Decimal,
) -> Decimal:
    """Return total alkali of a soap, percent of KOH: 5.61·(V0·c0 − V1·c1)/m.

    An excess of acid V0 splits the soap; what is left of it is titrated back with
    alkali V1. Source of the principle: ISO 685:1975; the formula is stoichiometry.

    >>> total_alkali(
    ...     mass_g=Decimal(5),
    ...     acid_ml=Decimal(20),
    ...     acid_concentration=Decimal(1),
    ...     back_ml=Decimal(5),
    ...     back_concentration=Decimal(1),
    ... ).quantize(Decimal("0.01"))
    Decimal('16.83')

    Raises :class:`OutOfRangeError` for amounts no bench has, and where more alkali went
    back than acid went in.
    """
    _check(mass_g, acid_ml, acid_concentration)
    _check(mass_g, back_ml, back_concentration)
    taken = acid_ml * acid_concentration - back_ml * back_concentration
    if taken < 0:
        raise OutOfRangeError(
            "More alkali was titrated back than acid was put in. Check both volumes and"
            " both concentrations."
        )
    return _share(taken * KOH / mass_g / _MG_PER_G_IN_PERCENT, "Total alkali")


def saponification_value(
    *, mass_g: Decimal, volume_ml: Decimal, concentration: Decimal, blank_ml: Decimal
) -> Decimal:
    """Return mg of KOH that one gram of an oil takes: 56.1·c·(V0 − V1)/m.

    The oil is boiled with alcoholic potash in excess and what is left is titrated with
    acid V1; V0 is the same without oil. Source: ISO 3657, ASTM D94 clause 21.

    >>> saponification_value(
    ...     mass_g=Decimal("1.5"),
    ...     volume_ml=Decimal(15),
    ...     concentration=Decimal("0.5"),
    ...     blank_ml=Decimal(25),
    ... ).quantize(Decimal("0.01"))
    Decimal('187.02')

    Raises :class:`OutOfRangeError` for amounts no bench has, where the blank took no
    more than the sample, where the sample left no potash, and outside 160 to 280.
    """
    _check(mass_g, volume_ml, concentration)
    if blank_ml <= volume_ml:
        raise OutOfRangeError(
            "The blank takes more acid than the sample, whose oil has used potash up."
            " Check whether the two were swapped."
        )
    if volume_ml == 0:
        raise OutOfRangeError(
            "No potash was left, so the oil may not be saponified to the end. Repeat"
            " with half the sample."
        )
    value = _mg_per_g(mass_g, blank_ml - volume_ml, concentration)
    if not LOWEST_SAPONIFICATION_VALUE <= value <= HIGHEST_SAPONIFICATION_VALUE:
        raise OutOfRangeError(
            f"By these volumes the saponification value is {value:.1f} mg KOH per gram,"
            f" outside {LOWEST_SAPONIFICATION_VALUE} to {HIGHEST_SAPONIFICATION_VALUE}."
            " Check whether mass and volume were swapped, whether litres were written"
            " for millilitres, and the strength of the acid."
        )
    return value


def acid_value(
    *,
    mass_g: Decimal,
    volume_ml: Decimal,
    concentration: Decimal,
    blank_ml: Decimal = Decimal(0),
) -> Decimal:
    """Return mg of KOH that the free acid of one gram of oil takes: 56.1·V·c/m.

    Source: EN 14104 clause 10; ISO 660 has the same formula.

    >>> acid_value(
    ...     mass_g=Decimal("17.2"),
    ...     volume_ml=Decimal("2.5"),
    ...     concentration=Decimal("0.1"),
    ... ).quantize(Decimal("0.001"))
    Decimal('0.815')

    Raises :class:`OutOfRangeError` for amounts no bench has, and above 400, more than
    the pure acids of food oils have.
    """
    value = _mg_per_g(mass_g, _more_than_blank(volume_ml, blank_ml), concentration)
    if value > HIGHEST_ACID_VALUE:
        raise OutOfRangeError(
            f"An acid value of {value:.0f} mg KOH per gram is more than any fatty acid"
            " of a food oil has. Check the sample mass and the concentration."
        )
    return value


def free_fatty_acid_percent(value: Decimal, molar_mass: Decimal) -> Decimal:
    """Return free fatty acid in percent by mass, from the acid value in mg KOH/g.

    ``molar_mass`` in g/mol is that of the acid it is expressed as: oleic 282.46,
    palmitic 256.43, lauric 200.32. AV·M/(10·M(KOH)); source: Low and Ng, SEAFDEC
    laboratory manual, after Pearson 1976: 0.503·AV as oleic acid.

    >>> free_fatty_acid_percent(Decimal(2), Decimal("282.46")).quantize(
    ...     Decimal("0.001")
    ... )
    Decimal('1.007')

    Raises :class:`OutOfRangeError` for an acid value below zero or an acid without
    mass.
    """
    if value < 0 or molar_mass <= 0:
        raise OutOfRangeError(
            "An acid value is not below zero and an acid has a molar mass. Check both."
        )
    return value * molar_mass / (KOH * _MG_PER_G_IN_PERCENT)


def volume_at_standard_temperature(
    volume_ml: Decimal, *, temperature: Decimal, standard_temperature: Decimal
) -> Decimal:
    """Return millilitres of alcoholic titrant as if at its standard temperature.

    V′ = V·[1 − 0.0011·(t − t0)], because alcohol expands. Temperatures in °C; t0 is
    that at which its concentration was determined. Source: EN 14104 clause 10, note.

    >>> volume_at_standard_temperature(
    ...     Decimal(10), temperature=Decimal(25), standard_temperature=Decimal(20)
    ... )
    Decimal('9.9450')

    Raises :class:`OutOfRangeError` below 5 °C or above 40 °C: no extrapolation.
    """
    for degrees in (temperature, standard_temperature):
        if not COLDEST_BENCH <= degrees <= HOTTEST_BENCH:
            raise OutOfRangeError(
                f"{degrees:f} °C is outside {COLDEST_BENCH} to {HOTTEST_BENCH} °C, in"
                " which the volume of the alcoholic titrant is corrected. Let it come"
                " to the temperature of the room."
            )
    change = ETHANOL_EXPANSION.value * (temperature - standard_temperature)
    return volume_ml * (1 - change)


def hydroxide_and_carbonate(
    *, first_ml: Decimal, total_ml: Decimal, concentration: Decimal
) -> tuple[Decimal, Decimal]:
    """Return mmol of hydroxide and of carbonate in a lye, by two end points.

    ``first_ml`` a is the acid until phenolphthalein loses its pink, ``total_ml`` b all
    acid until methyl orange turns: hydroxide (2a − b)·c, carbonate (b − a)·c. Half of
    the acid of carbonate is taken before the first end point, half after. Source:
    Warder's method as in USP–NF, Potassium Hydroxide. It is not for soap, which takes
    acid itself before methyl orange turns.

    >>> hydroxide_and_carbonate(
    ...     first_ml=Decimal(50), total_ml=Decimal(60), concentration=Decimal("0.1")
    ... )
    (Decimal('4.0'), Decimal('1.0'))

    Raises :class:`EndPointError` where the second end point comes before the first, or
    the first not after half of all the acid.
    """
    _check_titrant(first_ml, concentration)
    if total_ml < first_ml:
        raise EndPointError(
            "The second volume is all the acid from the start, so it is not below the"
            " first. If only the acid after the first end point was written, add both."
        )
    if 2 * first_ml <= total_ml:
        raise EndPointError(
            "The first end point must come after half of all the acid; here there would"
            " be no hydroxide left. Check that the water was free of carbon dioxide and"
            " the sample is potash or lye: in soap this method is not valid, for soap"
            " itself takes acid before methyl orange turns."
        )
    hydroxide = (2 * first_ml - total_ml) * concentration
    return hydroxide, (total_ml - first_ml) * concentration


def potash_by_two_indicators(
    *, mass_g: Decimal, first_ml: Decimal, total_ml: Decimal, concentration: Decimal
) -> tuple[Decimal, Decimal]:
    """Return hydroxide as KOH and carbonate as K2CO3, both in percent by mass.

    Source: as :func:`hydroxide_and_carbonate`; each ml of 1 mol/l acid after the first
    end point stands for 138.2 mg of K2CO3, JECFA and USP–NF.

    >>> hydroxide, carbonate = potash_by_two_indicators(
    ...     mass_g=Decimal("1.5"),
    ...     first_ml=Decimal(24),
    ...     total_ml=Decimal("24.2"),
    ...     concentration=Decimal(1),
    ... )
    >>> hydroxide.quantize(Decimal("0.01")), carbonate.quantize(Decimal("0.01"))
    (Decimal('89.02'), Decimal('1.84'))

    Raises as :func:`hydroxide_and_carbonate`, and :class:`OutOfRangeError` for more
    than 100 % together.
    """
    _check(mass_g, first_ml, concentration)
    hydroxide_mmol, carbonate_mmol = hydroxide_and_carbonate(
        first_ml=first_ml, total_ml=total_ml, concentration=concentration
    )
    hydroxide = hydroxide_mmol * KOH / mass_g / _MG_PER_G_IN_PERCENT
    carbonate = carbonate_mmol * MOLAR_MASS_K2CO3.value / mass_g / _MG_PER_G_IN_PERCENT
    _share(hydroxide + carbonate, "Hydroxide and carbonate together")
    return hydroxide, carbonate


def _mg_per_g(mass_g: Decimal, volume_ml: Decimal, concentration: Decimal) -> Decimal:
    _check(mass_g, volume_ml, concentration)
    return volume_ml * concentration * KOH / mass_g


def _more_than_blank(volume_ml: Decimal, blank_ml: Decimal) -> Decimal:
    if blank_ml < 0:
        raise OutOfRangeError("A blank is not below zero. Read the burette again.")
    if volume_ml < blank_ml:
        raise OutOfRangeError(
            "The blank took more than the sample. Check whether the two were swapped,"
            " or make the alcohol neutral again."
        )
    return volume_ml - blank_ml


def _check(mass_g: Decimal, volume_ml: Decimal, concentration: Decimal) -> None:
    if mass_g <= 0:
        raise OutOfRangeError("A sample has a mass above zero. Weigh it again.")
    _check_titrant(volume_ml, concentration)


def _check_titrant(volume_ml: Decimal, concentration: Decimal) -> None:
    if volume_ml < 0:
        raise OutOfRangeError("A volume is not below zero. Read the burette again.")
    if not WEAKEST_TITRANT <= concentration <= STRONGEST_TITRANT:
        raise OutOfRangeError(
            f"A titrant of {concentration:f} mol/l is outside {WEAKEST_TITRANT} to"
            f" {STRONGEST_TITRANT}. Read the label of the bottle again."
        )


def _share(percent: Decimal, what: str) -> Decimal:
    if percent > PERCENT:
        raise OutOfRangeError(
            f"{what} of {percent:.1f} % is more than all there is. Check the sample"
            " mass, the volume and the concentration."
        )
    return percent
