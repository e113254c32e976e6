"""What should come out of the pot, and what did.

>>> went_in = theoretical_yield([Decimal(1000), Decimal(200), Decimal(400)])
>>> yield_variance_percent(Decimal(1550), went_in)
Decimal('-3.125')
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from decimal import Decimal
from typing import Final

from batches.chemistry.constants import PERCENT
from batches.chemistry.errors import OutOfRangeError


def theoretical_yield(charges_g: Iterable[Decimal]) -> Decimal:
    """Return grams that come out if nothing boils off or is lost: all that went in.

    Source: conservation of mass; the term is that of 21 CFR 210.3(b)(17).

    >>> theoretical_yield([Decimal(1000), Decimal("211.7"), Decimal(420)])
    Decimal('1631.7')
    """
    return sum(charges_g, Decimal(0))


def percentage_yield(actual_g: Decimal, theoretical_g: Decimal) -> Decimal:
    """Return actual yield as a percentage of theoretical, 21 CFR 210.3(b)(19).

    Raises :class:`OutOfRangeError` where nothing went in.

    >>> percentage_yield(Decimal(1550), Decimal(1600))
    Decimal('96.875')
    """
    return PERCENT + yield_variance_percent(actual_g, theoretical_g)


def yield_variance_percent(actual_g: Decimal, theoretical_g: Decimal) -> Decimal:
    """Return actual less theoretical yield, in percent of the theoretical.

    Below zero where water boiled off or paste was lost; above zero is impossible and
    means a weighing error. Source: difference to 100 of the percentage yield of
    21 CFR 210.3(b)(19). Raises :class:`OutOfRangeError` where nothing went in.

    >>> yield_variance_percent(Decimal(1648), Decimal(1600))
    Decimal('3')
    """
    if theoretical_g <= 0:
        raise OutOfRangeError("Nothing was weighed in, so there is no yield to state.")
    return (actual_g - theoretical_g) * PERCENT / theoretical_g


# A share of what went in. Requirement C12 of ours; no source for the figure.
MOST_UNEXPLAINED_PERCENT: Final = Decimal(2)


@dataclasses.dataclass(frozen=True, kw_only=True)
class LossSplit:
    """Where the mass went that did not come out, in grams.

    ``put_in`` = ``came_out`` + ``known`` + ``evaporated`` + ``either`` +
    ``unexplained``, exactly. ``known`` was weighed or estimated: spilled, left on
    tools, taken as a sample. ``evaporated`` is None where the pot was not weighed
    before and after; then ``either`` is evaporation and unexplained loss together,
    and ``unexplained`` is only what no water can account for. ``unexplained`` below
    zero means that more came out than went in: a weighing error.
    """

    put_in: Decimal
    came_out: Decimal
    known: Decimal
    evaporated: Decimal | None
    either: Decimal
    unexplained: Decimal

    @property
    def unexplained_percent(self) -> Decimal:
        """Unexplained for certain, in percent of what went in."""
        return self.unexplained * PERCENT / self.put_in

    @property
    def is_too_much_unexplained(self) -> bool:
        """Say whether more is unexplained than :data:`MOST_UNEXPLAINED_PERCENT`."""
        return self.unexplained_percent > MOST_UNEXPLAINED_PERCENT

    @property
    def of_product(self) -> Decimal:
        """What left the pot not as water, as far as is known: it took soap along.

        What was neither weighed nor can have boiled off for certain counts half where
        the evaporation was weighed, and as water where it was not.
        """
        beyond = max(self.unexplained, Decimal(0))
        return self.known + (beyond / 2 if self.evaporated is not None else beyond)


def split_losses(
    *,
    put_in_g: Decimal,
    came_out_g: Decimal,
    known_g: Decimal,
    evaporated_g: Decimal | None,
    water_g: Decimal,
) -> LossSplit:
    """Return what became of the mass that did not come out.

    ``water_g`` is all the water there was: more than that cannot boil off, so what
    exceeds it is unexplained for certain, also where an evaporation was entered that
    cannot be. Source: conservation of mass. Raises :class:`OutOfRangeError` for masses
    below zero or where nothing went in.

    >>> split = split_losses(
    ...     put_in_g=Decimal(1600), came_out_g=Decimal(1540), known_g=Decimal(10),
    ...     evaporated_g=Decimal(45), water_g=Decimal(400),
    ... )
    >>> split.unexplained, split.unexplained_percent
    (Decimal('5'), Decimal('0.3125'))
    """
    for mass in (came_out_g, known_g, evaporated_g or Decimal(0), water_g):
        if mass < 0:
            raise OutOfRangeError("A mass cannot be below zero. Weigh again.")
    if put_in_g <= 0:
        raise OutOfRangeError("Nothing was weighed in, so nothing can be missing.")
    missing = put_in_g - came_out_g - known_g
    if evaporated_g is None:
        evaporated = None
        either = min(max(missing, Decimal(0)), water_g)
        unexplained = missing - either
    else:
        evaporated = min(evaporated_g, water_g)
        either = Decimal(0)
        unexplained = missing - evaporated
    return LossSplit(
        put_in=put_in_g,
        came_out=came_out_g,
        known=known_g,
        evaporated=evaporated,
        either=either,
        unexplained=unexplained,
    )
