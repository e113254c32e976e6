"""What the weight of an opened container says about the potash in it.

Potash takes water and carbon dioxide out of the air, so an old container weighs more
than the book says. What it took cannot be told by weight alone: the truth lies between
“all water”, which only thins the potash, and “all carbon dioxide”, which uses it up.

>>> seen = weigh_against_book(
...     net_g=Decimal(1010), book_g=Decimal(1000), expanded_uncertainty_g=Decimal(1)
... )
>>> bounds = usable_after(usable_fraction=Decimal("0.9"), uptake=seen)
>>> [bound.quantize(Decimal("0.001")) for bound in bounds]
[Decimal('0.866'), Decimal('0.891')]
"""

from __future__ import annotations

import dataclasses
import enum
from decimal import Decimal
from typing import Final

from batches.chemistry.constants import (
    ATOMIC_WEIGHT_C,
    ATOMIC_WEIGHT_O,
    MOLAR_MASS_KOH,
    PERCENT,
)
from batches.chemistry.errors import OutOfRangeError

# g/mol, from the same table as potash itself: IUPAC CIAAW, abridged, 2021.
MOLAR_MASS_CO2: Final = ATOMIC_WEIGHT_C.value + 2 * ATOMIC_WEIGHT_O.value
# Grams of KOH that each gram of carbon dioxide turns into carbonate:
# 2 KOH + CO2 → K2CO3 + H2O.
KOH_PER_CO2: Final = 2 * MOLAR_MASS_KOH.value / MOLAR_MASS_CO2

# Percent of the book from which on potash is held and retested. Ours; no source.
MOST_UPTAKE: Final = Decimal("0.3")
# A difference this many times U is no longer the scale. Ours; no source.
BEYOND_DOUBT: Final = 2


class Verdict(enum.StrEnum):
    """What the scale says beside the book."""

    AGREES = "agrees"
    HOLD_AND_RETEST = "hold and retest"
    UNLOGGED_LOSS = "unlogged loss"


@dataclasses.dataclass(frozen=True, kw_only=True)
class Uptake:
    """A container on the scale beside its book, masses in grams.

    ``percent`` is the gain in percent of the book, below zero where something is
    missing. ``clear`` says whether the difference is more than the scale's doubt.
    """

    net_g: Decimal
    book_g: Decimal
    percent: Decimal
    clear: bool
    verdict: Verdict

    @property
    def gain_g(self) -> Decimal:
        """Grams that the scale shows above the book."""
        return self.net_g - self.book_g


def weigh_against_book(
    *, net_g: Decimal, book_g: Decimal, expanded_uncertainty_g: Decimal
) -> Uptake:
    """Return what a container's weight says beside its book.

    ``expanded_uncertainty_g`` is U (k = 2) of the difference, in grams. More than
    0.3 % above the book, or more than 2 U, is uptake: hold and retest. Less than the
    book by more than 2 U is a use or loss that nobody wrote down. Source of the fact:
    International Chemical Safety Card 0357, which says that potassium hydroxide
    rapidly absorbs carbon dioxide and water from air; the thresholds are ours.

    >>> weigh_against_book(
    ...     net_g=Decimal(995),
    ...     book_g=Decimal(1000),
    ...     expanded_uncertainty_g=Decimal(1),
    ... ).verdict.value
    'unlogged loss'

    Raises :class:`OutOfRangeError` for a net mass or a book that is not above zero,
    or an uncertainty below it.
    """
    if net_g <= 0:
        raise OutOfRangeError(
            "The container weighs no more than its tare. Check gross and tare."
        )
    if book_g <= 0:
        raise OutOfRangeError(
            "By the book this lot is used up, so there is nothing to compare with. Do"
            " a stock-take first."
        )
    if expanded_uncertainty_g < 0:
        raise OutOfRangeError("Write the ± of the scale without a sign.")
    gain = net_g - book_g
    percent = gain * PERCENT / book_g
    doubt = BEYOND_DOUBT * expanded_uncertainty_g
    if percent > MOST_UPTAKE or gain > doubt:
        verdict = Verdict.HOLD_AND_RETEST
    elif gain < -doubt:
        verdict = Verdict.UNLOGGED_LOSS
    else:
        verdict = Verdict.AGREES
    return Uptake(
        net_g=net_g,
        book_g=book_g,
        percent=percent,
        clear=abs(gain) > doubt,
        verdict=verdict,
    )


def usable_after(
    *, usable_fraction: Decimal, uptake: Uptake
) -> tuple[Decimal, Decimal]:
    """Return the least and the most usable grams of KOH per gram as it weighs now.

    The least if all that came is carbon dioxide, (P·b − 2.5497·Δ)/(b + Δ), the most if
    all is water, P·b/(b + Δ); b is the book and Δ the gain. A container that did not
    gain is as it was. The least is never below nothing.

    >>> one_percent = weigh_against_book(
    ...     net_g=Decimal(101),
    ...     book_g=Decimal(100),
    ...     expanded_uncertainty_g=Decimal("0.1"),
    ... )
    >>> usable_after(usable_fraction=Decimal(1), uptake=one_percent)[1].quantize(
    ...     Decimal("0.0001")
    ... )
    Decimal('0.9901')

    Raises :class:`OutOfRangeError` for a usable share that is none.
    """
    if not 0 < usable_fraction <= 1:
        raise OutOfRangeError(
            f"A usable share of {usable_fraction:f} is not possible. Check the purity."
        )
    gain = max(uptake.gain_g, Decimal(0))
    now = uptake.book_g + gain
    hydroxide = usable_fraction * uptake.book_g
    least = max(hydroxide - KOH_PER_CO2 * gain, Decimal(0))
    return least / now, hydroxide / now
