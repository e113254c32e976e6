"""Monte Carlo: the check of the linear budget, and where that one fails."""

from __future__ import annotations

import math
import tracemalloc
from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quality.statistics.budgets import (
    Quantity,
    arcsine,
    budget,
    normal,
    readings,
    rectangular,
    triangular,
)
from quality.statistics.errors import (
    CorrelationError,
    InputError,
    NotFiniteError,
    SimulationError,
)
from quality.statistics.simulation import BLOCK, compare, simulate

pytestmark = pytest.mark.any_engine

DRAWS = 200_000


def same(x: Any) -> Any:
    return x


def test_the_same_seed_gives_the_same_draws_and_another_others() -> None:
    inputs = [normal("x", 1, 1), rectangular("y", 2, 1)]
    first, again, other = (
        simulate(lambda x, y: x * y, inputs, draws=40_000, seed=seed)
        for seed in (5, 5, 6)
    )
    assert first == again
    assert np.array_equal(first.results, again.results)
    assert first.mean != other.mean
    assert (first.draws, first.seed) == (40_000, 5)


@pytest.mark.parametrize(
    ("quantity", "farthest", "kurtosis"),
    [
        (normal("x", 5, 2), math.inf, 3),
        (rectangular("x", 5, 2), 2, 1.8),
        (triangular("x", 5, 2), 2, 2.4),
        (arcsine("x", 5, 2), 2, 1.5),
    ],
    ids=["normal", "rectangular", "triangular", "arcsine"],
)
def test_each_kind_is_drawn_with_its_width_bounds_and_shape(
    quantity: Quantity, farthest: float, kurtosis: float
) -> None:
    drawn = simulate(same, [quantity], draws=DRAWS, seed=11)
    u = quantity.standard_uncertainty
    assert drawn.mean == pytest.approx(5, abs=5 * u / math.sqrt(DRAWS))
    assert drawn.standard_deviation == pytest.approx(u, rel=0.01)
    reach = float(np.abs(drawn.results - 5).max())
    assert reach <= farthest
    assert reach > 0.95 * min(farthest, 3 * u)
    fourth = float((((drawn.results - 5) / u) ** 4).mean())
    assert fourth == pytest.approx(kurtosis, rel=0.03)


def test_few_degrees_of_freedom_are_drawn_wider() -> None:
    mean = normal("x", 0, 1, degrees_of_freedom=6)
    drawn = simulate(same, [mean], draws=DRAWS, seed=2)
    assert drawn.standard_deviation == pytest.approx(math.sqrt(6 / 4), rel=0.02)
    low, high = drawn.interval(0.9545)
    assert (low, high) == pytest.approx((-2.52, 2.52), abs=0.05)  # as the t table
    assert compare(budget(same, [mean]), drawn).close


def test_inputs_without_uncertainty_are_not_drawn() -> None:
    drawn = simulate(
        lambda x, y: x + y, [normal("x", 2, 0), normal("y", 3, 0)], draws=1000, seed=1
    )
    assert (drawn.mean, drawn.standard_deviation, drawn.low, drawn.high) == (5, 0, 5, 5)
    constant = simulate(lambda _: 7, [normal("x", 2, 1)], draws=1000, seed=1)
    assert constant.mean == 7


def test_an_interval_has_as_many_draws_beyond_each_end() -> None:
    drawn = simulate(lambda x: x**2, [normal("x", 0, 1)], draws=40_000, seed=3)
    assert (drawn.low, drawn.high) == drawn.interval()
    assert int((drawn.results < drawn.low).sum()) == 1000
    assert int((drawn.results > drawn.high).sum()) == 1000
    assert np.all(np.diff(drawn.results) >= 0)
    for level in (0, 1, -0.5, 95):
        with pytest.raises(SimulationError, match="between 0 and 1"):
            drawn.interval(level)


def test_chances_are_shares_of_the_draws() -> None:
    drawn = simulate(same, [rectangular("x", 0, 1)], draws=50_000, seed=9)
    assert drawn.probability_above(Decimal("0.5")) == pytest.approx(0.25, abs=0.01)
    assert drawn.probability_below(-0.8) == pytest.approx(0.1, abs=0.01)
    assert (drawn.probability_above(2), drawn.probability_below(2)) == (0, 1)
    certain = simulate(same, [normal("x", 4, 0)], draws=1000, seed=0)
    assert [certain.probability_above(x) for x in (3, 4, 5)] == [1, 0, 0]
    assert [certain.probability_below(x) for x in (3, 4, 5)] == [0, 0, 1]


@pytest.mark.parametrize("r", [-1.0, -0.4, 0.0, 0.7, 1.0])
def test_correlated_normal_inputs_are_drawn_together(r: float) -> None:
    inputs = [normal("a", 10, 3), rectangular("b", 1, 0.01), normal("c", 20, 4)]
    correlations = {("a", "c"): r}

    def model(a: Any, b: Any, c: Any) -> Any:
        return a + c + 0 * b

    drawn = simulate(model, inputs, draws=DRAWS, seed=4, correlations=correlations)
    linear = budget(model, inputs, correlations=correlations)
    assert drawn.standard_deviation == pytest.approx(
        linear.standard_uncertainty, rel=0.01
    )
    assert drawn.mean == pytest.approx(30, abs=0.1)


@pytest.mark.parametrize(
    "other", [rectangular("b", 1, 1), readings("b", [1, 2, 3])], ids=["box", "few"]
)
def test_correlated_inputs_of_other_kinds_are_refused(other: Quantity) -> None:
    with pytest.raises(SimulationError, match="“b” is correlated"):
        simulate(
            lambda a, b: a + b,
            [normal("a", 1, 1), other],
            draws=1000,
            seed=1,
            correlations={("a", "b"): 0.5},
        )


def test_what_cannot_be_drawn_is_refused() -> None:
    x = [normal("x", 1, 1)]
    for draws, seed in ((999, 1), (10_000_001, 1), (0, 1), (1000, -1)):
        with pytest.raises(SimulationError, match="draws"):
            simulate(same, x, draws=draws, seed=seed)
    with pytest.raises(InputError, match="at least one"):
        simulate(same, [], draws=1000, seed=1)
    with pytest.raises(CorrelationError, match="no input"):
        simulate(same, x, draws=1000, seed=1, correlations={("x", "y"): 1})


def test_draws_without_a_result_are_counted_and_refused() -> None:
    with pytest.raises(NotFiniteError, match=r"^\d+ of 1000 draws have no result"):
        simulate(lambda x: x**0.5, [normal("x", 1, 1)], draws=1000, seed=1)
    with pytest.raises(NotFiniteError, match="divides by zero"):
        simulate(lambda x: 1 / x, [normal("x", 0, 0)], draws=1000, seed=1)


POT = st.tuples(
    st.floats(0.1, 2), st.floats(180, 270), st.floats(0.1, 1), st.floats(0.85, 0.99)
)


@settings(max_examples=25, deadline=None)
@given(POT, st.integers(0, 2**32))
def test_where_nearly_straight_both_ways_agree_within_a_percent(
    pot: tuple[float, float, float, float], seed: int
) -> None:
    # A charge of potash from oil, saponification value, scale and purity.
    u_mass, saponification, u_saponification, purity = pot
    inputs = [
        normal("oil", 1000, u_mass, unit="g"),
        normal("saponification value", saponification, u_saponification, unit="mg/g"),
        rectangular("purity", purity, 0.005),
        triangular("display", 0, 0.5, unit="g"),
    ]

    def model(oil: Any, value: Any, pure: Any, display: Any) -> Any:
        return oil * value / 1000 / pure + display

    linear = budget(model, inputs)
    drawn = simulate(model, inputs, draws=100_000, seed=seed)
    # Noise of the draws: the standard deviation of 100 000 is known to 0.22 %.
    assert drawn.standard_deviation == pytest.approx(
        linear.standard_uncertainty, rel=0.01
    )
    assert drawn.mean == pytest.approx(linear.value, rel=0.01)


def test_where_the_formula_is_bent_the_linear_budget_is_wrong() -> None:
    """A square around nought: flat to a straight look, and yet never below nought.

    The linear budget says 0 ± 0. The truth is u² times a chi-squared with one degree:
    mean 1, standard deviation √2, 95 % below 5.02 and above 0.001.
    """
    inputs = [normal("x", 0, 1)]

    def square(x: Any) -> Any:
        return x * x

    linear = budget(square, inputs)
    drawn = simulate(square, inputs, draws=DRAWS, seed=8)
    assert (linear.value, linear.standard_uncertainty) == (0, 0)
    assert drawn.mean == pytest.approx(1, abs=0.02)
    assert drawn.standard_deviation == pytest.approx(math.sqrt(2), rel=0.02)
    assert (drawn.low, drawn.high) == pytest.approx((0.001, 5.02), abs=0.1)
    apart = compare(linear, drawn)
    assert not apart.close
    assert not apart.inside
    assert apart.relative == math.inf


def test_a_quotient_with_a_poor_divisor_is_skewed_and_said_to_differ() -> None:
    inputs = [normal("mass", 10, 0.1), rectangular("share", 0.5, 0.4)]

    def model(mass: Any, share: Any) -> Any:
        return mass / share

    apart = compare(
        budget(model, inputs), simulate(model, inputs, draws=50_000, seed=1)
    )
    assert not apart.close
    assert not apart.inside


def test_one_bounded_input_makes_the_linear_interval_the_wider_one() -> None:
    inputs = [rectangular("x", 10, 3)]
    apart = compare(budget(same, inputs), simulate(same, inputs, draws=50_000, seed=1))
    assert apart.inside
    # ± 2·a/√3 against ± 0.9545·a
    assert apart.difference == pytest.approx(3 * (2 / math.sqrt(3) - 0.9545), abs=0.02)
    assert apart.relative == pytest.approx(1 - 0.9545 * math.sqrt(3) / 2, abs=0.01)
    assert not apart.close


def test_two_certain_results_agree() -> None:
    inputs = [normal("x", 4, 0)]
    apart = compare(budget(same, inputs), simulate(same, inputs, draws=1000, seed=1))
    assert (apart.difference, apart.relative, apart.close) == (0, 0, True)


def test_memory_grows_by_the_results_only() -> None:
    inputs = [normal(f"x{place}", 1, 0.1) for place in range(10)]

    def peak(draws: int) -> int:
        tracemalloc.start()
        try:
            simulate(lambda *xs: sum(xs), inputs, draws=draws, seed=1)
            return tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()

    small, large = peak(4 * BLOCK), peak(12 * BLOCK)
    results = 8 * 8 * BLOCK  # bytes of the eight blocks more
    assert large - small < 1.25 * results + 2**17
    assert large < 12 * 8 * BLOCK * 1.2 + 16 * 8 * BLOCK
