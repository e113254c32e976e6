"""Liquid into bottles: how many, and whether each holds what its label says.

Nominal quantities are in millilitres at 20 °C; the rules and their numbers are the
same in grams. Decimal, because these are limits that decide by comparison: a bottle
exactly on one must be seen to lie on it.

The directive binds packers who put the letter e on a prepackage, and national law
others; which one binds you is for your authority to say. Sources: Council Directive
76/211/EEC, Annexes I and II; the German Fertigpackungsverordnung (FPackV 2020) § 9 for
rounding and shares; WELMEC guide 6.9 for the error of the measurement.

>>> check = lot_check(Decimal(500), [Decimal("501.2"), Decimal("499.4")], lot_size=2)
>>> check.accepted, check.mean_ml
(True, Decimal('500.3'))
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal
from typing import Final

from batches.chemistry.constants import PERCENT
from batches.chemistry.errors import ChemistryError, OutOfRangeError

SMALLEST_NOMINAL_ML: Final = Decimal(5)
LARGEST_NOMINAL_ML: Final = Decimal(10_000)

# (up to, percent of the nominal quantity or None, millilitres or None).
# Source: 76/211/EEC, Annex I 2.4. At each boundary both rows give the same.
_ERRORS: Final = (
    (Decimal(50), Decimal(9), None),
    (Decimal(100), None, Decimal("4.5")),
    (Decimal(200), Decimal("4.5"), None),
    (Decimal(300), None, Decimal(9)),
    (Decimal(500), Decimal(3), None),
    (Decimal(1000), None, Decimal(15)),
    (LARGEST_NOMINAL_ML, Decimal("1.5"), None),
)
_TENTH: Final = Decimal("0.1")

# Below this a lot is weighed as a whole: 76/211/EEC, Annex II 2.1.3.
SMALLEST_SAMPLED_LOT: Final = 100
# The share that may be below the first limit where all are weighed: FPackV § 9 (3).
SHARE_BELOW_FIRST: Final = Decimal("0.02")


def tolerable_negative_error(nominal_ml: Decimal) -> Decimal:
    """Return T, by how many ml (or g) a bottle may fall short of its label.

    Percentages are rounded up to the next tenth. Source: 76/211/EEC, Annex I 2.4;
    rounding FPackV § 9. Raises :class:`OutOfRangeError` outside 5 ml to 10 l, for
    which the directive has no rule.

    >>> [f"{tolerable_negative_error(Decimal(q))}" for q in (250, 350, 500, 1000)]
    ['9', '10.5', '15.0', '15']
    """
    if not SMALLEST_NOMINAL_ML <= nominal_ml <= LARGEST_NOMINAL_ML:
        raise OutOfRangeError(
            f"The rules for net contents hold from {SMALLEST_NOMINAL_ML} ml to 10 l,"
            f" not for {nominal_ml:f} ml. Check the unit."
        )
    _, percent, fixed = next(row for row in _ERRORS if nominal_ml <= row[0])
    if percent is None:
        return fixed or Decimal(0)
    return (nominal_ml * percent / PERCENT).quantize(_TENTH, ROUND_CEILING)


@dataclasses.dataclass(frozen=True, kw_only=True)
class FillLimits:
    """What a bottle of a nominal quantity is held against, all in ml or all in g.

    Few may lie below ``first`` (nominal less T), none below ``second`` (less 2·T).
    ``measuring_error`` is the most that the check itself may be wrong by, T/5.
    """

    nominal: Decimal
    error: Decimal
    first: Decimal
    second: Decimal
    measuring_error: Decimal


def fill_limits(nominal_ml: Decimal) -> FillLimits:
    """Return the limits for a nominal quantity. Raises as the error's function does.

    Source: 76/211/EEC, Annex I 1 and 5; measuring error WELMEC 6.9 and Annex II 1.3.

    >>> limits = fill_limits(Decimal(500))
    >>> limits.first, limits.second, limits.measuring_error
    (Decimal('485.0'), Decimal('470.0'), Decimal('3.0'))
    """
    error = tolerable_negative_error(nominal_ml)
    return FillLimits(
        nominal=nominal_ml,
        error=error,
        first=nominal_ml - error,
        second=nominal_ml - 2 * error,
        measuring_error=error / 5,
    )


def scale_is_fit(
    nominal_ml: Decimal, density: Decimal, expanded_uncertainty_g: Decimal
) -> bool:
    """Say whether a net mass known to ± U grams can judge bottles of this size.

    U/density must not exceed a fifth of the tolerable negative error. Source: WELMEC
    6.9; 76/211/EEC, Annex II 1.3. Raises :class:`OutOfRangeError` for a density that
    is not above zero.

    >>> scale_is_fit(Decimal(250), Decimal("1.02"), Decimal("0.82"))
    True
    >>> scale_is_fit(Decimal(10), Decimal("1.02"), Decimal("0.82"))
    False
    """
    if density <= 0:
        raise OutOfRangeError("A density is above zero. Weigh 100 ml, divide by 100.")
    return expanded_uncertainty_g / density <= fill_limits(nominal_ml).measuring_error


def content_ml(net_g: Decimal, density: Decimal) -> Decimal:
    """Return the content of a bottle at 20 °C from its net mass and density in g/ml.

    Source: definition of density. The buoyancy of air, a thousandth, cancels where
    the density was weighed in air too. Raises :class:`OutOfRangeError` for a mass
    below zero or a density that is not above it.

    >>> content_ml(Decimal(510), Decimal("1.02"))
    Decimal('5E+2')
    """
    if net_g < 0:
        raise OutOfRangeError(
            "A net mass below zero: the tare is heavier than the bottle. Check both."
        )
    if density <= 0:
        raise OutOfRangeError("A density is above zero. Weigh 100 ml, divide by 100.")
    return net_g / density


def bottles_from_mass(
    mass_g: Decimal,
    nominal_ml: Decimal,
    density: Decimal,
    *,
    heel_g: Decimal = Decimal(0),
    overfill_g: Decimal = Decimal(0),
) -> tuple[int, Decimal]:
    """Return how many bottles a mass fills, and the grams that remain.

    ⌊(m − heel)/(nominal·ρ + overfill)⌋, density in g/ml at 20 °C; the heel is what
    stays in the vessel or is kept as a sample. Source: definition of density. Raises
    :class:`OutOfRangeError` for a bottle of nothing or masses below zero.

    >>> bottles_from_mass(Decimal(1200), Decimal(250), Decimal("1.02"))
    (4, Decimal('180.00'))
    """
    if mass_g < 0 or heel_g < 0 or overfill_g < 0:
        raise OutOfRangeError("A mass cannot be below zero. Weigh again.")
    if nominal_ml <= 0 or density <= 0:
        raise OutOfRangeError("A bottle and a density are above zero. Check both.")
    each = nominal_ml * density + overfill_g
    usable = max(mass_g - heel_g, Decimal(0))
    count = int(usable // each)
    return count, usable - count * each


@dataclasses.dataclass(frozen=True, kw_only=True)
class SamplingPlan:
    """How many bottles of a lot are weighed, and what is then allowed.

    ``allowed`` may lie below the first limit; more, up to ``doubtful``, call for a
    second sample. The mean may fall short of the nominal quantity by ``factor`` times
    the standard deviation of the sample.
    """

    name: str
    sample: int
    allowed: int
    factor: Decimal
    doubtful: int = 0


# Source: 76/211/EEC, Annex II 2.2.1 and 2.2.2 (counts), 2.3 (means); the factors are
# t(0.995)/√n for n = 30 and 50: the directive takes the mean from one such sample,
# whatever more was weighed, which is the lenient side.
_SMALL = Decimal("0.503")
_LARGE = Decimal("0.379")
_DESTRUCTIVE = SamplingPlan(
    name="opened bottles", sample=20, allowed=1, factor=Decimal("0.640")
)
_FIRST, _BOTH = "first sample", "both samples"
# (lots from, the first of two samples, both together)
_PLANS: Final = (
    (
        3201,
        SamplingPlan(name=_FIRST, sample=80, allowed=3, factor=_LARGE, doubtful=6),
        SamplingPlan(name=_BOTH, sample=160, allowed=8, factor=_LARGE),
    ),
    (
        501,
        SamplingPlan(name=_FIRST, sample=50, allowed=2, factor=_LARGE, doubtful=4),
        SamplingPlan(name=_BOTH, sample=100, allowed=6, factor=_LARGE),
    ),
    (
        SMALLEST_SAMPLED_LOT,
        SamplingPlan(name=_FIRST, sample=30, allowed=1, factor=_SMALL, doubtful=2),
        SamplingPlan(name=_BOTH, sample=60, allowed=4, factor=_SMALL),
    ),
)


def sampling_plan(
    lot_size: int, weighed: int, *, destructive: bool = False
) -> SamplingPlan:
    """Return the plan for a lot, given how many of its bottles were weighed.

    Source: 76/211/EEC, Annex II: a lot below 100 as a whole; larger ones by two
    samples of 30, 50 or 80 each, the second only after a doubtful first; 20 where
    bottles are opened for it. A lot that was weighed as a whole needs no tolerance of
    a sample. Raises :class:`ChemistryError` when too few were weighed or more than
    there are.

    >>> sampling_plan(24, 24).factor, sampling_plan(400, 30).factor
    (Decimal('0'), Decimal('0.503'))
    >>> sampling_plan(24, 10)
    Traceback (most recent call last):
    batches.chemistry.errors.ChemistryError: A lot below 100 bottles is weighed as a \
whole: 24, not 10.
    """
    if not 0 < weighed <= lot_size:
        raise ChemistryError(
            f"{weighed} bottles were weighed of a lot of {lot_size}. Count again."
        )
    if weighed == lot_size:
        return SamplingPlan(
            name="every bottle",
            sample=lot_size,
            allowed=int(lot_size * SHARE_BELOW_FIRST),
            factor=Decimal(0),
        )
    if lot_size < SMALLEST_SAMPLED_LOT:
        raise ChemistryError(
            f"A lot below {SMALLEST_SAMPLED_LOT} bottles is weighed as a whole:"
            f" {lot_size}, not {weighed}."
        )
    if destructive:
        return _enough(_DESTRUCTIVE, weighed)
    first, both = next(
        (first, both) for least, first, both in _PLANS if lot_size >= least
    )
    return both if weighed >= both.sample else _enough(first, weighed)


def _enough(plan: SamplingPlan, weighed: int) -> SamplingPlan:
    if weighed < plan.sample:
        raise ChemistryError(
            f"A lot of this size needs {plan.sample} weighed bottles, taken at random,"
            f" not {weighed}. Or weigh every one."
        )
    return plan


@dataclasses.dataclass(frozen=True, kw_only=True)
class LotCheck:
    """What the weighed bottles of a lot say, all volumes in ml.

    ``least_mean`` is the lowest mean that passes. ``sentence`` is the verdict.
    """

    limits: FillLimits
    plan: SamplingPlan
    weighed: int
    mean_ml: Decimal
    standard_deviation_ml: Decimal
    least_mean_ml: Decimal
    below_first: int
    below_second: int
    accepted: bool
    sentence: str


def lot_check(
    nominal_ml: Decimal,
    contents_ml: Sequence[Decimal],
    *,
    lot_size: int,
    destructive: bool = False,
) -> LotCheck:
    """Return whether the bottles of a lot hold what the label says, and why.

    Three rules: the mean is at least the nominal quantity (less the tolerance of a
    sample), few bottles are below the first limit, none below the second. Source:
    76/211/EEC, Annex I 1 and 5, Annex II; share where all are weighed FPackV § 9.
    Raises :class:`OutOfRangeError` for a nominal quantity outside 5 ml to 10 l and
    :class:`ChemistryError` when too few were weighed.

    >>> contents = [Decimal(c) for c in (503, 498, 505, 484)]
    >>> print(lot_check(Decimal(500), contents, lot_size=4).sentence)
    Not accepted: the mean of 4 bottles is 497.5 ml, below 500.0 ml; 1 of them holds \
less than 485.0 ml, and at most 0 may.
    """
    limits = fill_limits(nominal_ml)
    plan = sampling_plan(lot_size, len(contents_ml), destructive=destructive)
    mean = sum(contents_ml, Decimal(0)) / len(contents_ml)
    deviation = _standard_deviation(contents_ml, mean)
    least = nominal_ml - plan.factor * deviation
    below_first = sum(content < limits.first for content in contents_ml)
    below_second = sum(content < limits.second for content in contents_ml)
    complaints = [
        *_said_of_mean(len(contents_ml), mean, least),
        *_said_of_first(below_first, limits.first, plan),
        *_said_of_second(below_second, limits.second),
    ]
    return LotCheck(
        limits=limits,
        plan=plan,
        weighed=len(contents_ml),
        mean_ml=mean,
        standard_deviation_ml=deviation,
        least_mean_ml=least,
        below_first=below_first,
        below_second=below_second,
        accepted=not complaints,
        sentence=(
            f"Not accepted: {'; '.join(complaints)}."
            if complaints
            else _good(len(contents_ml), mean, least, below_first, limits)
        ),
    )


def _standard_deviation(values: Sequence[Decimal], mean: Decimal) -> Decimal:
    if len(values) == 1:
        return Decimal(0)
    squares = sum(((value - mean) ** 2 for value in values), Decimal(0))
    return (squares / (len(values) - 1)).sqrt()


def _said_of_mean(count: int, mean: Decimal, least: Decimal) -> list[str]:
    if mean >= least:
        return []
    # Rounded apart, so that the two never read the same.
    shown, needed = _ml(mean, ROUND_FLOOR), _ml(least, ROUND_CEILING)
    return [f"the mean of {count} bottles is {shown}, below {needed}"]


def _said_of_first(count: int, first: Decimal, plan: SamplingPlan) -> list[str]:
    if count <= plan.allowed:
        return []
    again = (
        f" of a first sample: weigh {plan.sample} more, and enter all of them"
        if count <= plan.doubtful
        else ""
    )
    return [f"{_holding(count, first)}, and at most {plan.allowed} may{again}"]


def _said_of_second(count: int, second: Decimal) -> list[str]:
    return [f"{_holding(count, second)}, and none may"] if count else []


def _holding(count: int, limit: Decimal) -> str:
    verb = "holds" if count == 1 else "hold"
    return f"{count} of them {verb} less than {_ml(limit)}"


def _good(
    count: int, mean: Decimal, least: Decimal, below_first: int, limits: FillLimits
) -> str:
    few = (
        f"{below_first} of them below {_ml(limits.first)}, which is few enough"
        if below_first
        else f"none of them is below {_ml(limits.first)}"
    )
    return (
        f"Accepted: the mean of {count} bottles is {_ml(mean)}, at least"
        f" {_ml(least)}, and {few}."
    )


def _ml(value: Decimal, rounding: str = ROUND_HALF_EVEN) -> str:
    return f"{value.quantize(_TENTH, rounding):f} ml"
