"""Potassium hydroxide left over or lacking, and how likely either is too much.

Binary floats here, unlike in the neighbouring modules: an uncertainty has two digits
that mean anything, and the same plain arithmetic must run on floats, on numbers that
carry their uncertainty and on arrays of a Monte Carlo simulation. What is weighed and
what is charged stays Decimal, in :mod:`batches.chemistry.saponification`.

>>> round(excess([(208.0, 0.9)], [(1000.0, 187.5)]), 3)
-0.3
"""

from __future__ import annotations

import dataclasses
import math
import statistics
from collections.abc import Iterable
from typing import Any, Final

from batches.chemistry.constants import (
    HIGHEST_SAPONIFICATION_VALUE,
    LOWEST_SAPONIFICATION_VALUE,
    PERCENT,
)
from batches.chemistry.errors import ChemistryError, OutOfRangeError

# A discount above this leaves fat in the jug and hides a figure that is not known.
# Common practice, no source; the same bound stands on the batch.
HIGHEST_DISCOUNT: Final = 0.1
_NORMAL: Final = statistics.NormalDist()
_HUNDRED: Final = float(PERCENT)


class DiscountError(ChemistryError):
    """No lye discount up to the highest one brings the risk down."""


def excess(
    potash: Iterable[tuple[Any, Any]],
    oils: Iterable[tuple[Any, Any]],
    acids: Iterable[tuple[Any, Any]] = (),
) -> Any:
    """Return E, grams of KOH left over (above zero) or lacking (below zero).

    ``potash`` pairs each mass in g with its usable share (g KOH per g), ``oils`` each
    mass with its saponification value (mg KOH/g), ``acids`` each mass with the KOH it
    takes up (g per g). Plain arithmetic: a float, a number with uncertainty or an
    array comes out as it goes in, so nothing is refused here; what weighs and
    certifies checks its own figures.

    Source: conservation of the KOH, E = Σ m·P − Σ m·SV/1000 − Σ m·A, with the
    saponification value as defined in ISO 3657.

    >>> round(excess([(212.0, 0.9)], [(1000.0, 190.5)]), 3)
    0.3
    >>> round(excess([(212.0, 0.9)], [(1000.0, 190.0)], [(0.5, 0.8761)]), 3)
    0.362
    """
    brought = sum(mass * share for mass, share in potash)
    taken = sum(mass * value / 1000 for mass, value in oils)
    neutralised = sum(mass * capacity for mass, capacity in acids)
    return brought - taken - neutralised


@dataclasses.dataclass(frozen=True, kw_only=True)
class Limits:
    """How much is too much, each as percent of the mass of the paste.

    ``free_alkali_percent`` counts KOH, ``unsaponified_percent`` oil. Raises
    :class:`OutOfRangeError` unless both lie above 0 and at most at 100.

    >>> limits = Limits(free_alkali_percent=0.25, unsaponified_percent=1.0)
    >>> limits.free_alkali_g(1630.0)
    4.075
    >>> limits.lacking_g(1630.0, 187.5)
    3.05625
    """

    free_alkali_percent: float
    unsaponified_percent: float

    def __post_init__(self) -> None:
        for percent in (self.free_alkali_percent, self.unsaponified_percent):
            if not 0 < percent <= _HUNDRED:
                raise OutOfRangeError(
                    f"A limit of {percent:g} % of the paste is not possible. It lies"
                    " above 0 and at most at 100; see the page “Premises”."
                )

    def free_alkali_g(self, paste_g: float) -> float:
        """Return the most KOH in g that may be left over in ``paste_g`` of paste."""
        return self.free_alkali_percent / _HUNDRED * _mass(paste_g)

    def lacking_g(self, paste_g: float, mean_saponification_value: float) -> float:
        """Return the most KOH in g that may be lacking, from the oil it would leave."""
        share = self.unsaponified_percent / _HUNDRED
        return share * _mass(paste_g) * _value(mean_saponification_value) / 1000


def probability_above(limit: float, *, value: float, uncertainty: float) -> float:
    """Return P(truth > limit) for a normal value: 1 − Φ((limit − value)/u).

    Unit of all three the same. Source: JCGM 106:2012, 7.3 (the conformance
    probability and its complement); normality as in JCGM 100:2008, G.2. Raises
    :class:`OutOfRangeError` for an uncertainty below zero; with none the answer is
    0 or 1, and a value on its limit is not above it.

    >>> round(probability_above(4.075, value=0.0, uncertainty=3.4), 3)
    0.115
    """
    if uncertainty < 0:
        raise OutOfRangeError("An uncertainty is not below zero. Write it unsigned.")
    if uncertainty == 0:
        return float(value > limit)
    return _NORMAL.cdf((value - limit) / uncertainty)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Risks:
    """Probabilities, 0 to 1, of too much free alkali and of too much oil left."""

    over: float
    under: float


@dataclasses.dataclass(frozen=True, kw_only=True)
class Charge:
    """The alkali balance of a pot before its potash is weighed, in g of KOH.

    ``brought_g`` is what the potash brings without any discount, ``taken_g`` what
    oils and acids take up; ``share_uncertainty_g`` is the part of u(E) that grows with
    the mass of potash (its usable share), ``other_uncertainty_g`` the rest.
    ``potash_g`` is the mass of the potash as it is in the tin, ``other_mass_g`` all
    else that goes in, ``mean_saponification_value`` that of the oils together.

    Raises :class:`OutOfRangeError` for masses and uncertainties below zero.

    >>> range_only = Charge(
    ...     brought_g=187.5, taken_g=187.5, share_uncertainty_g=0.0,
    ...     other_uncertainty_g=3.4, potash_g=208.3, other_mass_g=1421.7,
    ...     mean_saponification_value=187.5,
    ... )
    >>> limits = Limits(free_alkali_percent=0.25, unsaponified_percent=1.0)
    >>> risks = range_only.risks(0.0, limits)
    >>> round(risks.over, 3), round(risks.under, 3)
    (0.115, 0.184)
    >>> round(range_only.discount_for(0.05, limits), 4)
    0.0081
    """

    brought_g: float
    taken_g: float
    share_uncertainty_g: float
    other_uncertainty_g: float
    potash_g: float
    other_mass_g: float
    mean_saponification_value: float

    def __post_init__(self) -> None:
        parts = (self.brought_g, self.taken_g, self.potash_g, self.other_mass_g)
        if min(parts) < 0 or self.brought_g == 0:
            raise OutOfRangeError(
                "An alkali balance needs oils and potash, none below zero. Check the"
                " lots chosen."
            )
        if min(self.share_uncertainty_g, self.other_uncertainty_g) < 0:
            raise OutOfRangeError("An uncertainty is not below zero.")
        _value(self.mean_saponification_value)

    def excess_g(self, discount: float) -> float:
        """Return E in g KOH with this share of the potash left out."""
        return (1 - _share(discount)) * self.brought_g - self.taken_g

    def uncertainty_g(self, discount: float) -> float:
        """Return u(E) in g KOH: that of the usable share shrinks with the potash."""
        return math.hypot(
            (1 - _share(discount)) * self.share_uncertainty_g, self.other_uncertainty_g
        )

    def paste_g(self, discount: float) -> float:
        """Return the mass of the paste in g: all that goes in, nothing boiled off."""
        return self.other_mass_g + (1 - _share(discount)) * self.potash_g

    def risks(self, discount: float, limits: Limits) -> Risks:
        """Return both risks with this lye discount, a share from 0 to 0.1.

        Source: as :func:`probability_above`; the limits are shares of the paste.
        """
        return risks_of(
            excess_g=self.excess_g(discount),
            uncertainty_g=self.uncertainty_g(discount),
            paste_g=self.paste_g(discount),
            mean_saponification_value=self.mean_saponification_value,
            limits=limits,
        )

    def discount_for(self, risk: float, limits: Limits) -> float:
        """Return the least discount, a share, at which P(over) is at most ``risk``.

        0 where it is already. Exact for a normal E: with x = 1 − d it solves
        L·M(x) − E(x) = z·u(x), which squared is a quadratic in x.

        Raises :class:`OutOfRangeError` for a risk of 0 or above a half and
        :class:`DiscountError` where even the highest discount leaves more.
        """
        if not 0 < risk <= 0.5:  # noqa: PLR2004 - a half is where z changes sign
            raise OutOfRangeError(
                f"A risk of {risk * _HUNDRED:g} % cannot be aimed at. Choose one above"
                " 0 % and at most 50 %."
            )
        if self.risks(0.0, limits).over <= risk:
            return 0.0
        if self.risks(HIGHEST_DISCOUNT, limits).over > risk:
            raise DiscountError(
                f"No lye discount up to {HIGHEST_DISCOUNT * _HUNDRED:g} % brings this"
                " risk down enough. Find out more about the oils and the potash"
                " instead: a certificate of the lot, or a titration."
            )
        return 1 - self._share_of_potash(-_NORMAL.inv_cdf(risk), limits)

    def _share_of_potash(self, z: float, limits: Limits) -> float:
        """Solve A − B·x = z·√(a² + b²·x²) for the share x of the potash, A − B·x ≥ 0.

        The allowed share of the paste and what the oils take up make A, what the
        potash brings, less what its own mass allows, makes B.
        """
        allowed = limits.free_alkali_percent / _HUNDRED
        big_a = allowed * self.other_mass_g + self.taken_g
        big_b = self.brought_g - allowed * self.potash_g
        a, b = z * self.other_uncertainty_g, z * self.share_uncertainty_g
        # (B² − b²)·x² − 2AB·x + (A² − a²) = 0; of its two roots the one on our side
        # of A/B, where nothing is squared away. Written without cancellation.
        inner = (big_a * b) ** 2 + (big_b * a) ** 2 - (a * b) ** 2
        return (big_a**2 - a**2) / (big_a * big_b + math.sqrt(inner))


def risks_of(
    *,
    excess_g: float,
    uncertainty_g: float,
    paste_g: float,
    mean_saponification_value: float,
    limits: Limits,
) -> Risks:
    """Return the risks of an excess E ± u in a paste of this mass, masses in g.

    P(over) = 1 − Φ((L·M − E)/u); P(under) = Φ((−U·M·SV/1000 − E)/u), L and U being
    the limits as shares of the paste M. Source: as :func:`probability_above`.

    >>> limits = Limits(free_alkali_percent=0.25, unsaponified_percent=1.0)
    >>> risks = risks_of(
    ...     excess_g=0.0, uncertainty_g=1.5, paste_g=1630.0,
    ...     mean_saponification_value=187.5, limits=limits,
    ... )
    >>> round(risks.over, 4), round(risks.under, 4)
    (0.0033, 0.0208)
    """
    lacking = limits.lacking_g(paste_g, mean_saponification_value)
    return Risks(
        over=probability_above(
            limits.free_alkali_g(paste_g), value=excess_g, uncertainty=uncertainty_g
        ),
        under=probability_above(lacking, value=-excess_g, uncertainty=uncertainty_g),
    )


def _share(discount: float) -> float:
    if not 0 <= discount <= HIGHEST_DISCOUNT:
        raise OutOfRangeError(
            f"A lye discount of {discount * _HUNDRED:g} % is outside 0 to"
            f" {HIGHEST_DISCOUNT * _HUNDRED:g} %. More leaves fat in the jug."
        )
    return discount


def _mass(paste_g: float) -> float:
    if paste_g <= 0:
        raise OutOfRangeError("A paste has a mass above zero. Weigh it again.")
    return paste_g


def _value(saponification_value: float) -> float:
    low, high = LOWEST_SAPONIFICATION_VALUE, HIGHEST_SAPONIFICATION_VALUE
    if not low <= saponification_value <= high:
        raise OutOfRangeError(
            f"A saponification value of {saponification_value:g} mg KOH per gram is"
            f" outside {low} to {high}. Check the unit."
        )
    return saponification_value
