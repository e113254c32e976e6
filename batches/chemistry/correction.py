"""Bringing the alkali of a pot back: how much oil, acid or potash, and when not to.

The excess E is grams of free KOH; below zero it is what is lacking to saponify the
oil. Everything that corrects is told by one figure, grams of KOH that a gram of it
takes up (oil, acid: :mod:`.acids`) or brings (potash). Oleic acid is an oil here, with
its acid value of about 199 mg/g.

Decimal, because a dose is weighed, compared with limits and shown to the tenth of a
gram.

>>> from batches.chemistry import acids
>>> dose = dose_for(
...     excess_g=Decimal(3), expanded_uncertainty_g=Decimal("1.2"),
...     koh_per_gram=acids.koh_per_gram(acids.CITRIC_ANHYDROUS),
... )
>>> round(dose.mass_g, 2), round(dose.leaves_g, 1)
(Decimal('3.08'), Decimal('0.3'))
"""

from __future__ import annotations

import dataclasses
from decimal import Decimal
from typing import Final

from batches.chemistry.errors import ChemistryError, OutOfRangeError
from batches.chemistry.saponification import check_saponification_value

# Nine tenths and a test afterwards come closer to the mark than a dose that overshoots:
# acid beyond the excess splits soap. Requirement E2 and C14 of ours, common practice.
USUAL_SHARE: Final = Decimal("0.9")

# A dose at nine tenths leaves a tenth of it to spare. A scale that weighs it to within
# half of that cannot carry it past the mark. Ours; the trade's 1 % (100 · U) is asked
# of a charge that makes the product, not of one that corrects it.
DOSE_WITHIN: Final = Decimal("0.05")
CHARGE_WITHIN: Final = Decimal("0.01")

# More than this share of what is in the pot is a second recipe or a slip of unit, not a
# correction. Ours: at 187 mg/g, 5 % of oil takes up 0.9 % of KOH, far beyond any test.
MOST_OF_POT: Final = Decimal("0.05")


class InsideUncertaintyError(ChemistryError):
    """The excess is no larger than its own uncertainty: measure before correcting."""


class WrongMeansError(ChemistryError):
    """It would push the alkali further away."""


class ScaleTooCoarseError(ChemistryError):
    """The scale cannot weigh the dose well enough."""


@dataclasses.dataclass(frozen=True)
class Dose:
    """A mass to weigh in, the share of E it answers, and what E it should leave.

    ``at_risk_g`` is grams of KOH by which the dose would overshoot if E really were as
    small as its uncertainty allows; zero or less where it cannot.
    """

    mass_g: Decimal
    share: Decimal
    leaves_g: Decimal
    at_risk_g: Decimal


def takes_up_oil(saponification_value: Decimal) -> Decimal:
    """Return grams of KOH that a gram of an oil takes up: its value / 1000.

    Source: the definition of the saponification value, ISO 3657. Raises
    :class:`OutOfRangeError` for a value no oil has.

    >>> takes_up_oil(Decimal("187.5"))
    Decimal('0.1875')
    """
    return check_saponification_value(saponification_value) / 1000


def brings_potash(usable_fraction: Decimal) -> Decimal:
    """Return grams of KOH a gram of potash brings, below zero: it takes up none.

    >>> brings_potash(Decimal("0.9"))
    Decimal('-0.9')
    """
    if not 0 < usable_fraction <= 1:
        raise OutOfRangeError(
            f"A usable share of {usable_fraction:f} is not possible. Check the purity."
        )
    return -usable_fraction


def dose_for(
    *,
    excess_g: Decimal,
    expanded_uncertainty_g: Decimal,
    koh_per_gram: Decimal,
    share: Decimal = USUAL_SHARE,
) -> Dose:
    """Return how much to weigh in to bring the excess towards zero.

    ``koh_per_gram`` is above zero for what takes KOH up, below for what brings it.
    Mass = E · share / figure. ``expanded_uncertainty_g`` is U of E, k = 2.

    Source: conservation of the KOH. Raises :class:`InsideUncertaintyError` where
    |E| ≤ U, :class:`WrongMeansError` where it would push the wrong way, and
    :class:`OutOfRangeError` for a share outside 0 to 1 or an uncertainty below zero.

    >>> dose_for(
    ...     excess_g=Decimal(3), expanded_uncertainty_g=Decimal(1),
    ...     koh_per_gram=takes_up_oil(Decimal("187.5")), share=Decimal(1),
    ... ).mass_g
    Decimal('16')
    """
    if not 0 < share <= 1:
        raise OutOfRangeError(
            f"A dose of {share * 100:f} % of the computed one is not possible: choose"
            " above 0 and at most 100 %."
        )
    if expanded_uncertainty_g < 0:
        raise OutOfRangeError("An uncertainty is not below zero. Check it.")
    if koh_per_gram == 0:
        raise OutOfRangeError(
            "This neither takes up potassium hydroxide nor brings it."
        )
    if abs(excess_g) <= expanded_uncertainty_g:
        raise InsideUncertaintyError(
            f"An excess of {excess_g:.1f} g with ± {expanded_uncertainty_g:.1f} g may"
            " as well be none. Measure first: cook on, then titrate the free alkali."
        )
    if (excess_g > 0) != (koh_per_gram > 0):
        raise WrongMeansError(
            "There is too much alkali already; potash would add to it."
            if excess_g > 0
            else "Alkali is lacking; oil or acid would take away more of it."
        )
    mass = excess_g * share / koh_per_gram
    return Dose(
        mass_g=mass,
        share=share,
        leaves_g=excess_left(excess_g, mass, koh_per_gram),
        at_risk_g=abs(excess_g) * share - (abs(excess_g) - expanded_uncertainty_g),
    )


def excess_left(excess_g: Decimal, mass_g: Decimal, koh_per_gram: Decimal) -> Decimal:
    """Return the excess after ``mass_g`` of a means has reacted: E − m·f.

    >>> excess_left(Decimal(3), Decimal(16), Decimal("0.1875"))
    Decimal('0.0000')
    """
    if mass_g < 0:
        raise OutOfRangeError("A mass cannot be below zero. Weigh again.")
    return excess_g - mass_g * koh_per_gram


def soap_split(overshoot_g: Decimal, soap_g: Decimal, bound_g: Decimal) -> Decimal:
    """Return grams of soap that acid beyond the excess splits into fatty acid.

    ``overshoot_g`` is in grams of KOH; ``soap_g`` of soap holds ``bound_g`` of it.
    Source: one of KOH stands in each molecule of soap. Raises :class:`OutOfRangeError`
    where there is no soap.

    >>> soap_split(Decimal(1), Decimal("1084.9"), Decimal("187.5")).quantize(
    ...     Decimal("0.01")
    ... )
    Decimal('5.79')
    """
    if soap_g <= 0 or bound_g <= 0:
        raise OutOfRangeError("There is no soap in it that acid could split.")
    return min(max(overshoot_g, Decimal(0)) * soap_g / bound_g, soap_g)


def net_uncertainty(step: Decimal, half_width: Decimal) -> Decimal:
    """Return the standard uncertainty of a net mass from one scale, gross less tare.

    Half a step around each of two readings, rectangular, and the stated ± of the scale
    once: gross and tare share most of it, so this is on the safe side. Source: GUM
    4.3.7 and 5.1.2. In the unit of the arguments.

    >>> net_uncertainty(Decimal(1), Decimal(0)).quantize(Decimal("0.001"))
    Decimal('0.408')
    """
    if step <= 0 or half_width < 0:
        raise OutOfRangeError("A scale has a step above zero and a ± not below zero.")
    return (2 * step**2 / 12 + half_width**2 / 3).sqrt()


def smallest_net_mass(
    standard_uncertainty: Decimal, within: Decimal = CHARGE_WITHIN
) -> Decimal:
    """Return the smallest net mass a scale weighs to within a share, at k = 2.

    Source: definition of the relative expanded uncertainty, 2·u/m ≤ share; at 1 % that
    is 100 · U. Raises :class:`OutOfRangeError` for a share that is not above zero.

    >>> smallest_net_mass(Decimal("0.5")) == 100
    True
    """
    if within <= 0:
        raise OutOfRangeError("Say how closely: a share above zero.")
    return 2 * standard_uncertainty / within


def check_scale(dose_g: Decimal, step: Decimal, half_width: Decimal) -> Decimal:
    """Return the smallest dose this scale can weigh; raise if ``dose_g`` is below.

    To within 5 %: a dose at nine tenths then cannot overshoot because of the scale.
    Raises :class:`ScaleTooCoarseError`.

    >>> check_scale(Decimal("3.1"), Decimal("0.1"), Decimal(0)).quantize(Decimal("0.1"))
    Decimal('1.6')
    """
    least = smallest_net_mass(net_uncertainty(step, half_width), DOSE_WITHIN)
    if dose_g < least:
        raise ScaleTooCoarseError(
            f"A scale in steps of {step.normalize():f} g cannot weigh {dose_g:.1f} g"
            f" closely enough: it needs {least:.0f} g or more. Take a finer scale, or"
            " dose as a solution of known strength."
        )
    return least
