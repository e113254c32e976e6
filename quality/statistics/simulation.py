"""A result by drawing its inputs many times: the check of the linear budget.

Source: JCGM 101:2008, propagation of distributions by a Monte Carlo method: drawing
6.4, estimate and standard deviation 7.6, coverage interval 7.7. It needs no straight
formula; what it costs is time, so pages use it on demand.

Memory: only the results are kept, eight bytes a draw (8 MB for a million); inputs are
drawn in blocks of ``BLOCK`` and forgotten.

Floats, as in :mod:`.budgets`, and the same formulas.

>>> from quality.statistics.budgets import normal
>>> drawn = simulate(lambda x: x * x, [normal("x", 0, 1)], draws=20_000, seed=1)
>>> round(drawn.mean, 1), drawn.low > -0.1  # the linear budget says 0 ± 0 here
(1.0, True)
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Sequence
from decimal import Decimal

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from quality.statistics.budgets import COVERAGE, Budget, Distribution, Model, Quantity
from quality.statistics.correlations import Correlations, Pair, checked_pairs, matrix
from quality.statistics.errors import InputError, NotFiniteError, SimulationError

Array = NDArray[np.float64]

BLOCK = 16_384  # draws at a time: ten inputs then take about a megabyte
FEWEST_DRAWS = 1_000  # fewer leave less than 25 draws beyond each end of an interval
MOST_DRAWS = 10_000_000  # 80 MB of results
LEVEL = 0.95
CLOSE = 0.1  # of U


@dataclasses.dataclass(frozen=True, kw_only=True)
class Simulation:
    """What came of the draws, in the unit of the result.

    ``low`` and ``high`` hold 95 % of the draws between them, with 2.5 % beyond each:
    the probabilistically symmetric interval of JCGM 101, 7.7, not the shortest one.
    ``results`` are the draws in ascending order.
    """

    draws: int
    seed: int
    mean: float
    standard_deviation: float
    low: float
    high: float
    results: Array = dataclasses.field(repr=False, compare=False)

    def interval(self, level: float = LEVEL) -> tuple[float, float]:
        """Return the ends that hold ``level`` of the draws, as many beyond each."""
        return _symmetric(self.results, level)

    def probability_above(self, limit: float | Decimal) -> float:
        """Return the share of the draws, 0 to 1, above ``limit``."""
        at_or_below = np.searchsorted(self.results, float(limit), side="right")
        return 1 - int(at_or_below) / self.draws

    def probability_below(self, limit: float | Decimal) -> float:
        """Return the share of the draws, 0 to 1, below ``limit``."""
        return int(np.searchsorted(self.results, float(limit), side="left")) / (
            self.draws
        )


@dataclasses.dataclass(frozen=True)
class Agreement:
    """How far a simulation lies from the linear budget.

    ``difference`` is that of the ends value ± U, whichever differs more, in the unit
    of the result (the d of JCGM 101, 8.1.3); ``relative`` the same as a part of U.
    ``inside`` says that the simulated interval lies wholly inside value ± U.
    """

    difference: float
    relative: float
    inside: bool

    @property
    def close(self) -> bool:
        """Say whether the linear budget will do: within a tenth of U.

        Common practice, no source; JCGM 101, 8.1.3 leaves the tolerance to its user.
        """
        return self.relative <= CLOSE


def simulate(
    model: Model,
    quantities: Sequence[Quantity],
    *,
    draws: int,
    seed: int,
    correlations: Correlations | None = None,
) -> Simulation:
    """Draw the inputs ``draws`` times and put them through ``model``.

    The same seed gives the same result. An input with few degrees of freedom is drawn
    from Student's t around its value (JCGM 101, 6.4.9), which is wider than the normal;
    the degrees of freedom of a bounded input are not used. Correlated inputs must be
    normal and well known (a Gaussian copula of other kinds would be a guess).

    Raises :class:`SimulationError` for a number of draws outside 1000 to ten million, a
    seed below zero and correlated inputs that are not normal, :class:`InputError`
    without inputs, :class:`.CorrelationError` as the budget does, and
    :class:`NotFiniteError` where a draw has no result.

    >>> from quality.statistics.budgets import normal, rectangular
    >>> drawn = simulate(
    ...     lambda a, b: a + b,
    ...     [normal("a", 10, 0.3), rectangular("b", 5, 0.1)], draws=20_000, seed=7,
    ... )
    >>> round(drawn.mean), round(drawn.standard_deviation, 1)
    (15, 0.3)
    """
    if not FEWEST_DRAWS <= draws <= MOST_DRAWS or seed < 0:
        raise SimulationError(
            f"A simulation takes {FEWEST_DRAWS} to {MOST_DRAWS} draws and a seed from"
            " zero up."
        )
    if not quantities:
        raise InputError("A simulation needs at least one input.")
    draw = _drawer(quantities, checked_pairs(quantities, correlations or {}))
    generator = np.random.default_rng(seed)
    results = np.empty(draws)
    # What has no result is found below and refused: a warning would only double it.
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        for start in range(0, draws, BLOCK):
            block = results[start : start + BLOCK]
            block[:] = _evaluate(model, draw(generator, len(block)))
    _refuse_gaps(results)
    results.sort()
    low, high = _symmetric(results, LEVEL)
    mean = float(results.mean())
    return Simulation(
        draws=draws,
        seed=seed,
        mean=mean,
        standard_deviation=_spread(results, mean),
        low=low,
        high=high,
        results=results,
    )


def compare(budget: Budget, simulation: Simulation) -> Agreement:
    """Return how far the ends of the two intervals lie apart. JCGM 101, 8.1.

    Both are taken at the coverage of the budget, 95.45 %.

    >>> from quality.statistics.budgets import budget, normal
    >>> inputs = [normal("a", 10, 0.3)]
    >>> drawn = simulate(lambda a: 2 * a, inputs, draws=50_000, seed=3)
    >>> compare(budget(lambda a: 2 * a, inputs), drawn).close
    True
    """
    low, high = simulation.interval(COVERAGE)
    difference = max(abs(budget.low - low), abs(budget.high - high))
    width = budget.expanded_uncertainty
    relative = difference / width if width else math.inf if difference else 0.0
    inside = budget.low <= low and high <= budget.high
    return Agreement(difference, relative, inside)


def _evaluate(model: Model, inputs: Sequence[Array | float]) -> Array | float:
    try:
        result: Array | float = model(*inputs)
    except ArithmeticError as error:  # of inputs without uncertainty, plain floats
        raise NotFiniteError(
            "The formula cannot be computed at these values, for example because it"
            " divides by zero: check the inputs."
        ) from error
    return result


def _refuse_gaps(results: Array) -> None:
    missing = int(np.count_nonzero(~np.isfinite(results)))
    if missing:
        raise NotFiniteError(
            f"{missing} of {len(results)} draws have no result, for example because the"
            " formula divides by zero there: check the inputs and their uncertainty."
        )


def _symmetric(results: Array, level: float) -> tuple[float, float]:
    """Return the ends of sorted draws with as many beyond each. JCGM 101, 7.7.2."""
    if not 0 < level < 1:
        raise SimulationError("An interval holds a share between 0 and 1.")
    beyond = round(len(results) * (1 - level) / 2)
    return float(results[beyond]), float(results[len(results) - 1 - beyond])


def _spread(results: Array, mean: float) -> float:
    """Return the standard deviation, block by block: no second array of all draws."""
    squares = [
        float(np.square(results[start : start + BLOCK] - mean).sum())
        for start in range(0, len(results), BLOCK)
    ]
    return math.sqrt(math.fsum(squares) / (len(results) - 1))


Drawer = Callable[[Generator, int], list[Array | float]]


def _drawer(quantities: Sequence[Quantity], pairs: Sequence[Pair]) -> Drawer:
    """Return a function that draws one block of all inputs."""
    related = sorted({place for first, second, _ in pairs for place in (first, second)})
    for place in related:
        quantity = quantities[place]
        if quantity.distribution is not Distribution.NORMAL or math.isfinite(
            quantity.degrees_of_freedom
        ):
            raise SimulationError(
                f"“{quantity.name}” is correlated and not a well-known normal value: a"
                " simulation cannot draw it. Use the linear budget, or write what they"
                " share as one input."
            )
    mixing = _square_root(matrix(len(quantities), pairs)[np.ix_(related, related)])

    def draw(generator: Generator, size: int) -> list[Array | float]:
        inputs = [
            quantity.value if place in related else _draw_one(quantity, generator, size)
            for place, quantity in enumerate(quantities)
        ]
        if related:
            together = mixing @ generator.standard_normal((len(related), size))
            for row, place in enumerate(related):
                inputs[place] = (
                    quantities[place].value
                    + quantities[place].standard_uncertainty * together[row]
                )
        return inputs

    return draw


def _square_root(correlation: Array) -> Array:
    """Return A with A·Aᵀ = the matrix; unlike Cholesky's also where it is singular."""
    values, vectors = np.linalg.eigh(correlation)
    root: Array = vectors * np.sqrt(np.clip(values, 0, None))
    return root


def _draw_one(quantity: Quantity, generator: Generator, size: int) -> Array | float:
    """Return draws of one independent input. JCGM 101, 6.4.2 to 6.4.9."""
    u = quantity.standard_uncertainty
    if not u:
        return quantity.value
    half_width = u * quantity.distribution.divisor
    match quantity.distribution:
        case Distribution.RECTANGULAR:
            shape = 2 * generator.random(size) - 1
        case Distribution.TRIANGULAR:
            shape = generator.random(size) + generator.random(size) - 1
        case Distribution.ARCSINE:
            shape = np.sin(2 * np.pi * generator.random(size))
        case _ if math.isfinite(quantity.degrees_of_freedom):
            shape = generator.standard_t(quantity.degrees_of_freedom, size)
        case _:
            shape = generator.standard_normal(size)
    return quantity.value + half_width * shape
