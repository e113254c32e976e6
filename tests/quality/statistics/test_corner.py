"""The lesser of two: against numerical integration, against draws, at its edges."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from quality.statistics.budgets import Budget, budget, normal
from quality.statistics.corner import is_near, lesser_budget, lesser_of
from quality.statistics.errors import CorrelationError, InputError
from quality.statistics.simulation import simulate

pytestmark = pytest.mark.any_engine

MEANS = st.floats(-1000, 1000)
WIDTHS = st.floats(0.01, 100)
CORRELATIONS = st.floats(-1, 1)


def integrated(
    x: float, u_x: float, y: float, u_y: float, correlation: float
) -> tuple[float, float]:
    """Return mean and standard deviation by scipy: of the density of the lesser."""
    rest = math.sqrt(1 - correlation**2)

    def below(
        value: float, one: float, u: float, other: float, u_other: float
    ) -> float:
        """Density of the one at a value, and the other above it."""
        given_it = other + correlation * u_other * (value - one) / u
        share: float = stats.norm.sf(value, given_it, u_other * rest)
        return float(stats.norm.pdf(value, one, u)) * share

    def density(value: float) -> float:
        return below(value, x, u_x, y, u_y) + below(value, y, u_y, x, u_x)

    low, high = min(x - 9 * u_x, y - 9 * u_y), max(x + 9 * u_x, y + 9 * u_y)
    moment = [
        integrate.quad(
            lambda v, n=n: (v - x) ** n * density(v),
            low,
            high,
            points=[x, y],
            limit=200,
        )[0]
        for n in (1, 2)
    ]
    return x + moment[0], math.sqrt(moment[1] - moment[0] ** 2)


@pytest.mark.parametrize(
    ("x", "u_x", "y", "u_y", "correlation"),
    [
        (0, 1, 0, 1, 0.0),
        (59.4, 0.1, 59.4, 0.3, 0.9),
        (59.4, 0.1, 59.1, 0.3, -0.5),
        (10, 2, 12, 1, 0.3),
        (-5, 1, 3, 4, -0.9),
    ],
)
def test_it_is_what_integration_finds(
    x: float, u_x: float, y: float, u_y: float, correlation: float
) -> None:
    found = lesser_of(x, u_x, y, u_y, covariance=correlation * u_x * u_y)
    mean, deviation = integrated(x, u_x, y, u_y, correlation)
    assert found.mean == pytest.approx(mean, abs=1e-6)
    assert found.standard_deviation == pytest.approx(deviation, rel=1e-6)


def test_two_standard_normals_have_the_known_mean_and_variance() -> None:
    """−1/√π and 1 − 1/π, as in tables of order statistics (from memory)."""
    found = lesser_of(0, 1, 0, 1, covariance=0)
    assert found.mean == pytest.approx(-1 / math.sqrt(math.pi))
    assert found.standard_deviation**2 == pytest.approx(1 - 1 / math.pi)
    assert found.first_is_lesser == pytest.approx(0.5)


@given(MEANS, WIDTHS, MEANS, WIDTHS, CORRELATIONS)
def test_it_lies_below_both_and_does_not_care_which_is_first(
    x: float, u_x: float, y: float, u_y: float, correlation: float
) -> None:
    covariance = correlation * u_x * u_y
    found = lesser_of(x, u_x, y, u_y, covariance=covariance)
    turned = lesser_of(y, u_y, x, u_x, covariance=covariance)
    assert found.mean <= min(x, y) + 1e-9 * (abs(x) + abs(y) + 1)
    assert found.mean == pytest.approx(turned.mean, abs=1e-6)
    assert found.standard_deviation == pytest.approx(
        turned.standard_deviation, rel=1e-4, abs=1e-6
    )
    assert found.standard_deviation <= max(u_x, u_y) * (1 + 1e-6)


@given(MEANS, WIDTHS, WIDTHS, CORRELATIONS)
def test_far_from_the_corner_it_is_the_lesser_alone(
    x: float, u_x: float, u_y: float, correlation: float
) -> None:
    y = x + 40 * (u_x + u_y)
    found = lesser_of(x, u_x, y, u_y, covariance=correlation * u_x * u_y)
    assert found.mean == pytest.approx(x, abs=1e-9 * u_x)
    assert found.standard_deviation == pytest.approx(u_x, rel=1e-6)


@given(MEANS, WIDTHS, MEANS, WIDTHS, st.floats(0.01, 100), MEANS)
def test_it_follows_a_change_of_unit_and_of_zero(
    x: float, u_x: float, y: float, u_y: float, scale: float, shift: float
) -> None:
    plain = lesser_of(x, u_x, y, u_y, covariance=0)
    other = lesser_of(
        scale * x + shift, scale * u_x, scale * y + shift, scale * u_y, covariance=0
    )
    assert other.mean == pytest.approx(scale * plain.mean + shift, abs=1e-6)
    assert other.standard_deviation == pytest.approx(
        scale * plain.standard_deviation, rel=1e-5
    )


@pytest.mark.parametrize(("y", "mean", "u"), [(6, 5, 1), (4, 4, 1), (5, 5, 1)])
def test_two_that_move_as_one_have_no_corner(y: float, mean: float, u: float) -> None:
    found = lesser_of(5, 1, y, 1, covariance=1)
    assert (found.mean, found.standard_deviation) == (mean, u)


def test_two_without_doubt_are_the_lesser_of_them() -> None:
    assert lesser_of(3, 0, 2, 0, covariance=0).mean == 2


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(InputError):
        lesser_of(0, -1, 0, 1, covariance=0)
    with pytest.raises(InputError):
        lesser_of(math.nan, 1, 0, 1, covariance=0)
    with pytest.raises(CorrelationError):
        lesser_of(0, 1, 0, 1, covariance=1.1)


# ---------------------------------------------------------------- budgets

OIL = normal("oil", 100, 0.5)
SHARED = normal("shared", 0, 0.7)


def sides(potash: float) -> tuple[Budget, Budget]:
    inputs = [OIL, normal("potash", potash, 1), SHARED]
    return (
        budget(lambda o, p, s: o + s, inputs, unit="g"),
        budget(lambda o, p, s: p + s, inputs, unit="g"),
    )


def excess(times_u: float) -> float:
    return 100 + times_u * math.hypot(0.5, 1)


@pytest.mark.parametrize("times_u", [-5, -1, 0, 1, 5])
def test_the_interval_covers_95_percent_wherever_the_corner_lies(
    times_u: float,
) -> None:
    potash = excess(times_u)
    enough, short = sides(potash)
    found = (
        lesser_budget(enough, short)
        if is_near(enough, short)
        else min(enough, short, key=lambda one: one.value)
    )
    drawn = simulate(
        lambda o, p, s: np.minimum(o, p) + s,
        [OIL, normal("potash", potash, 1), SHARED],
        draws=100_000,
        seed=3,
    )
    inside = (
        1 - drawn.probability_below(found.low) - drawn.probability_above(found.high)
    )
    assert inside == pytest.approx(0.9545, abs=0.02)
    assert found.value == pytest.approx(drawn.mean, abs=0.02)
    assert found.standard_uncertainty == pytest.approx(
        drawn.standard_deviation, rel=0.01
    )


@pytest.mark.parametrize(("times_u", "near"), [(2.99, True), (3.01, False)])
def test_near_is_within_three_u_of_the_difference(
    times_u: float,
    near: bool,  # noqa: FBT001
) -> None:
    for sign in (1, -1):
        assert is_near(*sides(excess(sign * times_u))) is near


def test_where_the_corner_ends_nothing_jumps() -> None:
    one, other = sides(excess(2.999))
    assert lesser_budget(one, other).value == pytest.approx(one.value, abs=1e-3)


def test_its_lines_are_the_slopes_between_and_their_shares_all_of_it() -> None:
    found = lesser_budget(*sides(100))
    slopes = {line.quantity.name: line.sensitivity for line in found.lines}
    assert slopes == pytest.approx({"oil": 0.5, "potash": 0.5, "shared": 1.0})
    assert sum(line.share for line in found.lines) == pytest.approx(1)
    assert [line.share for line in found.lines] == sorted(
        (line.share for line in found.lines), reverse=True
    )
    assert found.unit == "g"


def test_few_degrees_of_freedom_widen_the_interval() -> None:
    inputs = [normal("a", 1, 1, degrees_of_freedom=4), normal("b", 1, 1)]
    one, other = (budget(side, inputs) for side in (lambda a, b: a, lambda a, b: b))
    for first, second in itertools.permutations((one, other)):
        found = lesser_budget(first, second)
        assert found.degrees_of_freedom == 4
        assert found.coverage_factor == pytest.approx(one.coverage_factor)
        assert found.expanded_uncertainty == pytest.approx(
            found.coverage_factor * found.standard_uncertainty
        )
