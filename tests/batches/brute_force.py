"""The genealogy walked by hand, to hold the real one against.

Written from the rules as the models say them, not from any query:

- ``Input``: a batch has so many milligrams of a source in it, the sum of the charges
  that stand. Nought is a charge that was taken back: nothing of it is in there.
- ``Discrepancy``: an entry kept on a device that the book could not take. A draw of
  nought is in the batch all the same if such an entry names it and nobody entered it:
  it is open, or a reviewer explained it.
- What goes into a batch is mixed evenly. The part that a stock has of a batch is what
  came down each way between them: on each step of the way, the mass drawn over all that
  went into that batch. A way with a draw of nought brings nobody knows how much.
- A bottle has in it what its batch has in it.

No set-based step, no index and no recursion shared with what is tested: lists, walked
from the beginning each time.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from fractions import Fraction

Draw = tuple[int, int, int]


@dataclasses.dataclass(frozen=True)
class Kept:
    """An entry that the book could not take; ``outcome`` is none while it is open."""

    stock: int
    batch: int
    outcome: str | None


@dataclasses.dataclass(frozen=True)
class Book:
    """What was drawn: (source, batch, milligrams); what was kept; what was filled."""

    drawn: Sequence[Draw]
    kept: Sequence[Kept] = ()
    bottles: Sequence[tuple[str, int]] = ()  # code and batch

    def went_in(self) -> Iterator[Draw]:
        """Yield the draws by which something went into a batch."""
        for source, batch, mass in self.drawn:
            said = [
                entry
                for entry in self.kept
                if (entry.stock, entry.batch) == (source, batch)
                and entry.outcome in {None, "explained"}
            ]
            if mass or said:
                yield source, batch, mass

    def upstream(self, stock: int) -> set[int]:
        """Return a stock and all that went into it."""
        found, to_do = {stock}, [stock]
        drawn = list(self.went_in())
        while to_do:
            at = to_do.pop()
            for source, batch, _ in drawn:
                if batch == at and source not in found:
                    found.add(source)
                    to_do.append(source)
        return found

    def downstream(self, stock: int) -> set[int]:
        """Return a stock and all that it went into: whoever has it upstream."""
        stocks = {stock, *(one for draw in self.drawn for one in draw[:2])}
        return {one for one in stocks if stock in self.upstream(one)}

    def bottles_of(self, stock: int) -> set[str]:
        """Return the codes of the bottles that have something of a stock in them."""
        return {code for code, batch in self.bottles if stock in self.upstream(batch)}

    def share(self, stock: int, batch: int) -> tuple[Fraction, bool]:
        """Return what part of a batch is of a stock; True where that is the least."""
        drawn = list(self.went_in())
        total: dict[int, int] = {}
        for _, into, mass in drawn:
            total[into] = total.get(into, 0) + mass
        part, is_least = Fraction(0), False
        for way in _ways(drawn, stock, batch):
            of_it = Fraction(1)
            for _, into, mass in way:
                of_it *= Fraction(mass, total[into]) if mass else 0
            part += of_it
            is_least = is_least or not all(mass for _, _, mass in way)
        return part, is_least


def _ways(drawn: Sequence[Draw], start: int, end: int) -> Iterator[list[Draw]]:
    """Yield each way from one stock to another, draw by draw."""
    if start == end:
        yield []
        return
    for draw in drawn:
        source, into, _ = draw
        if into == end:
            for way in _ways(drawn, start, source):
                yield [*way, draw]
