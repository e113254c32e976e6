"""What a batch and a bottle cost, exact to the last fraction of a hundredth.

Pure: no Django. Amounts are hundredths of the currency, masses whole milligrams. What
is computed stays a fraction; only what is shown is rounded, and then so that the parts
add up to their sum. The rule: unit cost of each lot times the mass drawn from it, plus
what else was spent, over the good bottles; what was lost up to the yield on the scale
is in, because the divisor is what came out. What is lost of a filling is carried by its
bottles; what was disposed of or went missing of the rest is carried by none of them and
stands by itself. What a batch cost goes with its product by mass: the paste
into a dilution, the rejected batch into its rework. Common practice, no source.

Three kilograms of oil for 12.00, of which one went in, and 2.00 of gas, in four good
bottles of five: (400 + 200)/4.

>>> oil = Bought(code="L26-0001-A", paid=1200, received_mg=3_000_000)
>>> cook = Made(code="B26-0001-2", drawn={1: 1_000_000}, spent=200)
>>> found = cost_of_all({1: oil}, {2: cook})[2]
>>> found.amount, found.unknown, found.amount / 4
(Fraction(600, 1), frozenset(), Fraction(150, 1))
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from fractions import Fraction
from graphlib import TopologicalSorter

NONE: frozenset[str] = frozenset()


class CostError(ValueError):
    """What is asked for has no cost; the message says why."""


@dataclasses.dataclass(frozen=True, kw_only=True)
class Bought:
    """A raw lot: ``paid`` hundredths for all of it, None where nobody wrote it down."""

    code: str
    paid: int | None
    received_mg: int


@dataclasses.dataclass(frozen=True, kw_only=True)
class Made:
    """A batch: milligrams drawn by source, hundredths spent besides, what came out.

    ``spent`` goes with the product by mass. ``came_out_mg`` is the yield on the scale,
    None while it is not weighed.
    """

    code: str
    drawn: Mapping[int, int]
    spent: int = 0
    came_out_mg: int | None = None


@dataclasses.dataclass(frozen=True, kw_only=True)
class Cost:
    """Hundredths of the currency; at least that, where the price of a lot is unknown.

    ``unknown`` holds the codes of what has no known price.
    """

    amount: Fraction
    unknown: frozenset[str] = NONE

    @property
    def is_least(self) -> bool:
        """Say whether it is only known what it costs at least."""
        return bool(self.unknown)

    def __add__(self, other: Cost) -> Cost:
        return Cost(
            amount=self.amount + other.amount, unknown=self.unknown | other.unknown
        )

    def part(self, mass_mg: int, whole_mg: int) -> Cost:
        """Return the share of a part by mass. Raises :class:`CostError` for nothing.

        >>> Cost(amount=Fraction(100)).part(1, 3).amount
        Fraction(100, 3)
        """
        if whole_mg <= 0:
            raise CostError("Nothing came out, so nothing has a share of its cost.")
        return Cost(
            amount=self.amount * Fraction(mass_mg, whole_mg), unknown=self.unknown
        )


NOTHING = Cost(amount=Fraction(0))


def cost_drawn(lot: Bought, mass_mg: int) -> Cost:
    """Return what a mass of a raw lot cost: paid × mass/received.

    Of a lot without a price nothing is known, and its code says so.

    >>> cost_drawn(Bought(code="L", paid=500, received_mg=3), 2).amount
    Fraction(1000, 3)
    """
    if lot.paid is None:
        return Cost(amount=Fraction(0), unknown=frozenset({lot.code}))
    return Cost(amount=Fraction(lot.paid)).part(mass_mg, lot.received_mg)


def parts_of(
    made: Made,
    lots: Mapping[int, Bought],
    batches: Mapping[int, Made],
    known: Mapping[int, Cost],
) -> dict[int, Cost]:
    """Return what each source of a batch brought along, by source.

    ``known`` are the costs of the batches it was made from. One of them that was drawn
    from before its yield was weighed counts as unknown.

    A third of a paste that cost 90 brings 30 along.

    >>> paste = Made(code="B26-0001-2", drawn={}, came_out_mg=3)
    >>> thin = Made(code="B26-0002-0", drawn={1: 1})
    >>> parts_of(thin, {}, {1: paste}, {1: Cost(amount=Fraction(90))})[1].amount
    Fraction(30, 1)
    """
    parts = {}
    for source, mass_mg in made.drawn.items():
        if source in lots:
            parts[source] = cost_drawn(lots[source], mass_mg)
            continue
        came_out = batches[source].came_out_mg
        if came_out is None:
            code = batches[source].code
            parts[source] = Cost(amount=Fraction(0), unknown=frozenset({code}))
        else:
            parts[source] = known[source].part(mass_mg, came_out)
    return parts


def cost_of_all(
    lots: Mapping[int, Bought], batches: Mapping[int, Made]
) -> dict[int, Cost]:
    """Return the whole cost of each batch, each after all that went into it.

    >>> lot = Bought(code="L26-0001-A", paid=100, received_mg=2)
    >>> cook = Made(code="B26-0001-2", drawn={1: 1}, spent=10, came_out_mg=1)
    >>> thin = Made(code="B26-0002-0", drawn={2: 1}, spent=5)
    >>> found = cost_of_all({1: lot}, {3: thin, 2: cook})
    >>> int(found[2].amount), int(found[3].amount)
    (60, 65)
    """
    order = TopologicalSorter(
        {
            key: [one for one in made.drawn if one in batches]
            for key, made in batches.items()
        }
    )
    known: dict[int, Cost] = {}
    for key in order.static_order():
        made = batches[key]
        brought = parts_of(made, lots, batches, known).values()
        known[key] = sum(brought, Cost(amount=Fraction(made.spent)))
    return known


def per_bottle(whole: Cost, good: int) -> Cost:
    """Return the cost of one good bottle. Raises :class:`CostError` where none is.

    >>> per_bottle(Cost(amount=Fraction(600)), 4).amount
    Fraction(150, 1)
    """
    if good <= 0:
        raise CostError("No good bottle is left to carry the cost.")
    return Cost(amount=whole.amount / good, unknown=whole.unknown)


def rest_of(came_out_mg: int, went_mg: int, on_hand_mg: int) -> tuple[int, int]:
    """Return what is still here of the rest of a batch, and what was lost of it.

    ``went_mg`` was filled or drawn. Both together are the rest, and none is below
    nothing: what a stock-take found beyond the rest costs nothing more.

    Of 10 that came out 4 went; 5 are on hand, so 1 was lost since it was weighed.

    >>> rest_of(10, 4, 5), rest_of(10, 4, 7)
    ((5, 1), (6, 0))
    """
    rest = max(came_out_mg - went_mg, 0)
    here = min(max(on_hand_mg, 0), rest)
    return here, rest - here


def rounded(amount: Fraction) -> int:
    """Return whole hundredths, a half away from zero.

    >>> rounded(Fraction(5, 2)), rounded(Fraction(7, 3))
    (3, 2)
    """
    sign = -1 if amount < 0 else 1
    return sign * int(abs(amount) + Fraction(1, 2))


def that_add_up(amounts: Sequence[Fraction]) -> list[int]:
    """Return whole hundredths that add up to the rounded sum of the amounts.

    Each is rounded down; what is then lacking goes, a hundredth each, to those with
    the largest remainders, the first among equals.

    >>> that_add_up([Fraction(100, 3)] * 3)
    [34, 33, 33]
    """
    floors = [amount.numerator // amount.denominator for amount in amounts]
    lacking = rounded(sum(amounts, Fraction(0))) - sum(floors)
    by_remainder = sorted(
        range(len(amounts)), key=lambda place: floors[place] - amounts[place]
    )
    for place in by_remainder[:lacking]:
        floors[place] += 1
    return floors


def shares(whole: int, weights: Sequence[int]) -> list[int]:
    """Split whole hundredths by weights, so that the shares add up to the whole.

    Raises :class:`CostError` where all weights are zero.

    >>> shares(1000, [1, 1, 1])
    [334, 333, 333]
    """
    total = sum(weights)
    if total <= 0:
        raise CostError("There is nothing to share it among.")
    return that_add_up([Fraction(whole * weight, total) for weight in weights])
