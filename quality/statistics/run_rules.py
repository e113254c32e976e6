"""Run rules: patterns that chance alone seldom draws, each with where it comes from.

Two published sets are kept apart. Western Electric, Statistical Quality Control
Handbook, 1956, as NIST/SEMATECH e-Handbook 6.3.2 gives it: eight points in a row on one
side. L. S. Nelson, Journal of Quality Technology 16 (1984) 238–239: nine. Applying both
at once only raises the number of false alarms.

A point on a line is not beyond it, and one on the centre is on neither side.

>>> [str(signal) for signal in signals([0, 0, 3.5], centre=0, sigma=1)]
['Point 3 lies beyond the upper limit']
"""

from __future__ import annotations

import dataclasses
import enum
import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from typing import Final

from quality.statistics.errors import StatisticsError

WECO: Final = "Western Electric 1956; NIST/SEMATECH e-Handbook 6.3.2"
NELSON: Final = "Nelson 1984, J. Qual. Technol. 16, 238–239"


class Side(enum.StrEnum):
    """Where a pattern lies."""

    ABOVE = "above"
    BELOW = "below"
    NEITHER = ""


Flags = list[bool]
Marks = Callable[[Sequence[float]], Iterator[tuple[Side, Flags]]]


@dataclasses.dataclass(frozen=True, kw_only=True)
class Rule:
    """A pattern: ``needed`` of ``of`` points in a row that are marked.

    ``lead`` points before the first marked one belong to the pattern too: a rise is
    marked on the later of its two points.
    """

    number: int
    origin: str
    needed: int
    of: int
    marks: Marks
    words: str
    lead: int = 0
    both_sides: bool = False


@dataclasses.dataclass(frozen=True, kw_only=True)
class Signal:
    """A pattern that was found, with the positions of its points, from 0 on."""

    rule: Rule
    side: Side
    points: tuple[int, ...]

    def __str__(self) -> str:
        return self.told(1)

    def told(self, first: int) -> str:
        """Return the finding in words; ``first`` is the number of the first point.

        >>> (signal,) = signals([0, 0, 3.5], centre=0, sigma=1)
        >>> signal.told(21)
        'Point 23 lies beyond the upper limit'
        """
        side = _SIDES[self.side]
        return f"{_named(self.points, first)} {self.rule.words.format(side=side)}"


def _beyond(width: float) -> Marks:
    def marks(heights: Sequence[float]) -> Iterator[tuple[Side, Flags]]:
        yield Side.ABOVE, [height > width for height in heights]
        yield Side.BELOW, [height < -width for height in heights]

    return marks


def _trend(heights: Sequence[float]) -> Iterator[tuple[Side, Flags]]:
    steps = _steps(heights)
    yield Side.ABOVE, [step > 0 for step in steps]
    yield Side.BELOW, [step < 0 for step in steps]


def _alternating(heights: Sequence[float]) -> Iterator[tuple[Side, Flags]]:
    steps = _steps(heights)
    turns = [earlier * later < 0 for earlier, later in itertools.pairwise(steps)]
    yield Side.NEITHER, [False, *turns]


def _inside_one(heights: Sequence[float]) -> Iterator[tuple[Side, Flags]]:
    yield Side.NEITHER, [abs(height) < 1 for height in heights]


def _outside_one(heights: Sequence[float]) -> Iterator[tuple[Side, Flags]]:
    yield Side.NEITHER, [abs(height) > 1 for height in heights]


def _steps(heights: Sequence[float]) -> list[float]:
    return [0.0, *(b - a for a, b in itertools.pairwise(heights))]


_SIDES = {Side.ABOVE: "upper", Side.BELOW: "lower", Side.NEITHER: ""}
_BEYOND = "lies beyond the {side} limit"
_TWO = "lie in the outer third of the {side} half or beyond: two of three"
_FOUR = "lie in the outer two thirds of the {side} half or beyond: four of five"
_RUN = "lie in the {side} half, {count} in a row or more"


def _common(origin: str, run: int, first: tuple[int, int, int, int]) -> list[Rule]:
    """Return the four rules both sets share, but for the length of a run."""
    beyond, two, four, in_a_row = first
    words = _RUN.replace("{count}", {8: "eight", 9: "nine"}[run])
    return [
        Rule(
            number=beyond,
            origin=origin,
            needed=1,
            of=1,
            marks=_beyond(3),
            words=_BEYOND,
        ),
        Rule(number=two, origin=origin, needed=2, of=3, marks=_beyond(2), words=_TWO),
        Rule(number=four, origin=origin, needed=4, of=5, marks=_beyond(1), words=_FOUR),
        Rule(
            number=in_a_row,
            origin=origin,
            needed=run,
            of=run,
            marks=_beyond(0),
            words=words,
        ),
    ]


WECO_RULES: Final[tuple[Rule, ...]] = tuple(_common(WECO, 8, (1, 2, 3, 4)))
NELSON_RULES: Final[tuple[Rule, ...]] = tuple(
    sorted(
        [
            *_common(NELSON, 9, (1, 5, 6, 2)),
            Rule(
                number=3,
                origin=NELSON,
                needed=5,
                of=5,
                marks=_trend,
                lead=1,
                words="move one way all along, six in a row or more, to the {side} end",
            ),
            Rule(
                number=4,
                origin=NELSON,
                needed=12,
                of=12,
                marks=_alternating,
                lead=2,
                words="go up and down by turns, fourteen in a row or more",
            ),
            Rule(
                number=7,
                origin=NELSON,
                needed=15,
                of=15,
                marks=_inside_one,
                words="keep to the inner third, fifteen in a row or more",
            ),
            Rule(
                number=8,
                origin=NELSON,
                needed=8,
                of=8,
                marks=_outside_one,
                both_sides=True,
                words="keep off the inner third, eight in a row or more, on both sides",
            ),
        ],
        key=lambda rule: rule.number,
    )
)


def signals(
    values: Sequence[float],
    *,
    centre: float,
    sigma: float,
    rules: Sequence[Rule] = WECO_RULES,
) -> list[Signal]:
    """Return the patterns found in a series, in the order of the rules.

    Patterns of one rule that share points are told as one. ``sigma`` is the standard
    deviation of a single value, in the unit of the values; it must be above zero.

    >>> found = signals([1, 1, 2, 1, 1, 2, 1, 1, 1], centre=0, sigma=4)
    >>> [(signal.rule.number, signal.points[0], signal.points[-1]) for signal in found]
    [(4, 0, 8)]
    """
    if not (sigma > 0 and math.isfinite(sigma) and math.isfinite(centre)):
        raise StatisticsError("The spread must be a number above zero.")
    heights = [(value - centre) / sigma for value in values]
    return [signal for rule in rules for signal in _of_rule(rule, heights)]


def _of_rule(rule: Rule, heights: Sequence[float]) -> Iterator[Signal]:
    for side, flags in rule.marks(heights):
        hits = [
            hit
            for end in range(len(flags))
            if (hit := _hit(rule, flags, end)) and _fits(rule, hit, heights)
        ]
        for points in _merged(hits):
            yield Signal(rule=rule, side=side, points=points)


def _hit(rule: Rule, flags: Flags, end: int) -> tuple[int, ...]:
    """Return the points of a pattern that is complete with ``end``, or none."""
    window = range(max(0, end - rule.of + 1), end + 1)
    marked = [place for place in window if flags[place]]
    if len(marked) < rule.needed:
        return ()
    before = range(marked[0] - rule.lead, marked[0])
    return (*before, *marked)


def _fits(rule: Rule, points: tuple[int, ...], heights: Sequence[float]) -> bool:
    if not rule.both_sides:
        return True
    return min(heights[p] for p in points) < 0 < max(heights[p] for p in points)


def _merged(hits: list[tuple[int, ...]]) -> list[tuple[int, ...]]:
    runs: list[set[int]] = []
    for hit in hits:
        if runs and runs[-1] & set(hit):
            runs[-1].update(hit)
        else:
            runs.append(set(hit))
    return [tuple(sorted(run)) for run in runs]


def _named(points: tuple[int, ...], first: int) -> str:
    """Return positions as people count them: “Points 3 to 10”, “Points 2 and 4”."""
    numbers = [point + first for point in points]
    if len(numbers) == 1:
        return f"Point {numbers[0]}"
    if len(numbers) > 2 and numbers[-1] - numbers[0] == len(numbers) - 1:  # noqa: PLR2004
        return f"Points {numbers[0]} to {numbers[-1]}"
    *most, last = (str(number) for number in numbers)
    return f"Points {', '.join(most)} and {last}"
