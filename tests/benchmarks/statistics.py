"""A budget of ten inputs: the linear one on each page, Monte Carlo on demand.

Ours are ``budget`` and ``simulate``. The peers of one budget: our own Monte Carlo of
100,000 draws, and the ``uncertainties`` library as its documentation uses it, which
gives value, u and the parts of each input but no correlation by names, degrees of
freedom or coverage factor. The peer of one million draws: all inputs drawn at once, as
one writes it first. Memory is what Python and numpy ask for at the peak.
"""

from __future__ import annotations

import statistics
import time
import tracemalloc
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
from uncertainties import ufloat

from quality.statistics.budgets import Quantity, budget, normal, rectangular, resolution
from quality.statistics.simulation import simulate
from tests.benchmarks import Row

DRAWS = 100_000
MANY = 1_000_000
ROUNDS = 5
BUDGETS = 200  # a round: one takes too little time to be measured alone
MEGABYTE = 2**20
# Eight bytes a draw are kept, and blocks of the inputs come on top.
MOST_MEGABYTES = 1.5 * 8 * MANY / MEGABYTE


def inputs() -> list[Quantity]:
    """Return those of the excess alkali of a pot: oils, their values, potash, scale."""
    return [
        resolution("olive oil", 800, 1, unit="g"),
        resolution("coconut oil", 200, 1, unit="g"),
        resolution("rapeseed oil", 150, 1, unit="g"),
        rectangular("value of the olive oil", 190, 6, unit="mg/g"),
        rectangular("value of the coconut oil", 256.5, 8.5, unit="mg/g"),
        normal("value of the rapeseed oil", 187.5, 2, unit="mg/g"),
        resolution("potash", 259, 0.1, unit="g"),
        rectangular("purity", 0.9, 0.01),
        normal("bias of the scale", 0, 0.0005),
        rectangular("paste", 2400, 5, unit="g"),
    ]


def excess(
    olive: Any,
    coconut: Any,
    rape: Any,
    olive_value: Any,
    coconut_value: Any,
    rape_value: Any,
    potash: Any,
    purity: Any,
    bias: Any,
    paste: Any,
) -> Any:
    """Return the excess alkali in percent of the paste."""
    need = olive * olive_value + coconut * coconut_value + rape * rape_value
    return 100 * (potash * purity - need / 1000) * (1 + bias) / paste


def rows() -> Iterator[Row]:
    """Measure the budget beside its peers, then the memory of a million draws."""
    quantities = inputs()
    ours = seconds(lambda: budget(excess, quantities), BUDGETS)
    drawn = seconds(lambda: simulate(excess, quantities, draws=DRAWS, seed=1))
    plain = seconds(lambda: as_documented(quantities), BUDGETS)
    yield Row(
        f"ms a budget of ten inputs; peer: Monte Carlo of {DRAWS:,} draws",
        1000 * ours,
        1000 * drawn,
        "ratio ≤ 0.01",
        ours <= drawn / 100,
    )
    yield Row(
        "ms a budget of ten inputs; peer: uncertainties, value, u and parts only",
        1000 * ours,
        1000 * plain,
        "ratio ≤ 2.5",
        ours <= 2.5 * plain,
    )
    blocks = seconds(lambda: simulate(excess, quantities, draws=MANY, seed=1), rounds=3)
    at_once = seconds(lambda: all_at_once(quantities), rounds=3)
    yield Row(
        f"s for {MANY:,} draws; peer: all inputs drawn at once",
        blocks,
        at_once,
        "ratio ≤ 2",
        blocks <= 2 * at_once,
    )
    kept = peak(lambda: simulate(excess, quantities, draws=MANY, seed=1))
    naive = peak(lambda: all_at_once(quantities))
    yield Row(
        f"MB at the peak of {MANY:,} draws; peer: all inputs drawn at once",
        kept,
        naive,
        f"≤ {MOST_MEGABYTES:.0f} MB",
        kept <= MOST_MEGABYTES,
    )


def as_documented(quantities: list[Quantity]) -> tuple[float, float, dict[Any, float]]:
    """Return value, u and parts the way the library's user guide has it."""
    variables = [
        ufloat(one.value, one.standard_uncertainty, tag=one.name) for one in quantities
    ]
    result = excess(*variables)
    return result.nominal_value, result.std_dev, result.error_components()


def all_at_once(quantities: list[Quantity]) -> tuple[float, float, Any]:
    """Return mean, u and interval of a million draws without a thought of memory."""
    generator = np.random.default_rng(1)
    columns = [
        generator.normal(one.value, one.standard_uncertainty, MANY)
        if one.distribution.divisor == 1
        else one.value
        + one.standard_uncertainty
        * one.distribution.divisor
        * generator.uniform(-1, 1, MANY)
        for one in quantities
    ]
    results = excess(*columns)
    ends = np.quantile(results, [0.025, 0.975])
    return float(results.mean()), float(results.std(ddof=1)), ends


def seconds(act: Callable[[], object], times: int = 1, rounds: int = ROUNDS) -> float:
    """Return how long one act takes, the median of some rounds after one to warm up."""
    act()
    measured = []
    for _ in range(rounds):
        start = time.perf_counter()
        for _ in range(times):
            act()
        measured.append((time.perf_counter() - start) / times)
    return statistics.median(measured)


def peak(act: Callable[[], object]) -> float:
    """Return the most memory that an act holds at once, in MB."""
    tracemalloc.start()
    try:
        act()
        return tracemalloc.get_traced_memory()[1] / MEGABYTE
    finally:
        tracemalloc.stop()
