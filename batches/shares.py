"""What part of a batch is of one lot, at any depth, by what was weighed in.

Pure: no Django. Masses are whole milligrams, shares exact fractions from 0 to 1. The
rule: what goes into a batch is mixed evenly, so a draw takes along the share that its
source has. By what went in: water that boils off later makes what is left richer in
everything else. The rule of mixing is a mass balance; even mixing is common practice,
no source.

100 g of a lot and 300 g of others in a paste; 200 g of it and 300 g of water in a
blend; 500 g of that with 500 g of other paste in a rework: 1/4, 1/10, 1/20.

>>> drawn = [(1, 10, 100), (2, 10, 300), (10, 20, 200), (3, 20, 300)]
>>> found = shares_of(1, [*drawn, (20, 30, 500), (11, 30, 500)])
>>> [str(found[batch].least) for batch in (10, 20, 30)]
['1/4', '1/10', '1/20']
"""

from __future__ import annotations

import dataclasses
import itertools
from collections import defaultdict
from collections.abc import Iterable, Mapping, Set
from decimal import Decimal
from fractions import Fraction
from graphlib import CycleError, TopologicalSorter


class ShareError(ValueError):
    """What is asked for has no share; the message says why."""


@dataclasses.dataclass(frozen=True, kw_only=True)
class Share:
    """A share from 0 to 1; ``is_least`` where more went in than the book has."""

    least: Fraction
    is_least: bool = False

    @property
    def percent(self) -> Decimal:
        """The share in percent, to more digits than anybody reads.

        >>> Share(least=Fraction(1, 8)).percent
        Decimal('12.5')
        """
        return Decimal(self.least.numerator * 100) / self.least.denominator


def shares_of(
    root: int | Set[int], drawn: Iterable[tuple[int, int, int]]
) -> dict[int, Share]:
    """Return the share of ``root`` in each batch, in itself 1, by id.

    Of several roots it is the share of all of them together.

    ``drawn`` are (source, batch, milligrams): all that went into those batches.
    s(batch) = Σ m·s(source) / Σ m, where s of a source that nothing says anything of is
    0. A mass of nought stands for a draw that the book could not take: where the root
    came with it, its share is only known to be at least that. Raises
    :class:`ShareError` for a mass below nought.

    A batch in itself cannot arise. Should the records say so all the same, of the least
    draw of the ring nothing is taken to be the root; what it went into has at least the
    share that is found.

    >>> drawn = [(1, 2, 30), (9, 2, 10), (1, 3, 50), (2, 3, 20), (9, 3, 30)]
    >>> shares_of(1, drawn)[3].least, shares_of({1, 2}, drawn)[3].least
    (Fraction(13, 20), Fraction(7, 10))
    """
    roots = {root} if isinstance(root, int) else set(root)
    into: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for source, batch, mass_mg in drawn:
        if mass_mg < 0:
            raise ShareError("A mass is not below nought.")
        if batch not in roots:  # whatever went into it, all of it is the root
            into[batch].append((source, mass_mg))
    cut: dict[int, set[int]] = defaultdict(set)
    found = {one: Share(least=Fraction(1)) for one in roots}
    for batch in _in_order(into, cut):
        if batch in into:
            found[batch] = _mixed(into[batch], found, cut[batch])
    return found


def _in_order(
    into: Mapping[int, list[tuple[int, int]]], cut: Mapping[int, set[int]]
) -> list[int]:
    """Return sources before what they went into; where a ring was opened is in cut."""
    sources = {batch: dict(rows) for batch, rows in into.items()}
    while True:
        try:
            return list(TopologicalSorter(sources).static_order())
        except CycleError as error:
            ring = error.args[1]
        source, batch = min(
            itertools.pairwise(ring), key=lambda edge: sources[edge[1]][edge[0]]
        )
        del sources[batch][source]
        cut[batch].add(source)


def _mixed(
    rows: list[tuple[int, int]], known: Mapping[int, Share], cut: Set[int]
) -> Share:
    parts = [
        (mass_mg, known[one])
        for one, mass_mg in rows
        if one in known and one not in cut
    ]
    # Σ m·s as one fraction, brought to lowest terms once and not with each term.
    part, whole = 0, 1
    for mass_mg, share in parts:
        over = share.least.denominator
        part = part * over + mass_mg * share.least.numerator * whole
        whole *= over
    total_mg = sum(mass_mg for _, mass_mg in rows)
    return Share(
        least=Fraction(part, whole * total_mg) if total_mg else Fraction(0),
        is_least=bool(cut)
        or any(
            share.is_least or (not mass_mg and share.least > 0)
            for mass_mg, share in parts
        ),
    )
