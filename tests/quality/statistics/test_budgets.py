"""The linear budget: slopes, correlation, degrees of freedom, coverage."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from quality.statistics.budgets import (
    MANY_DEGREES,
    Distribution,
    Quantity,
    arcsine,
    budget,
    coverage_factor,
    distribution_function,
    normal,
    readings,
    rectangular,
    resolution,
    triangular,
)
from quality.statistics.correlations import groups
from quality.statistics.errors import (
    CorrelationError,
    InputError,
    NotFiniteError,
    StatisticsError,
)

pytestmark = pytest.mark.any_engine

VALUES = st.floats(1, 1000)
WIDTHS = st.floats(0.001, 100)
DEGREES = st.one_of(st.floats(1, 200), st.just(math.inf))


def add(*terms: Any) -> Any:
    return sum(terms)


def test_each_kind_of_input_has_its_divisor() -> None:
    half_width = 6.0
    found = {
        maker.__name__: maker("x", 1, half_width).standard_uncertainty
        for maker in (rectangular, triangular, arcsine, resolution)
    }
    assert found == pytest.approx(
        {
            "rectangular": 6 / math.sqrt(3),
            "triangular": 6 / math.sqrt(6),
            "arcsine": 6 / math.sqrt(2),
            "resolution": 6 / math.sqrt(12),
        }
    )
    assert Distribution.NORMAL.divisor == 1
    assert Distribution.TRIANGULAR.label == "triangular"


def test_makers_keep_what_they_are_told() -> None:
    made = rectangular(
        "purity", Decimal("0.9"), Decimal("0.03"), unit="g/g", origin="certificate 7"
    )
    assert made == Quantity(
        name="purity",
        value=0.9,
        standard_uncertainty=0.03 / math.sqrt(3),
        unit="g/g",
        distribution=Distribution.RECTANGULAR,
        degrees_of_freedom=math.inf,
        origin="certificate 7",
    )


def test_readings_are_their_mean_with_the_spread_of_a_mean() -> None:
    mean = readings("v", [Decimal("1.0"), Decimal("1.2"), Decimal("1.4")], unit="ml")
    assert mean.value == pytest.approx(1.2)
    assert mean.standard_uncertainty == pytest.approx(0.2 / math.sqrt(3))
    assert (mean.degrees_of_freedom, mean.unit) == (2, "ml")
    assert mean.distribution is Distribution.NORMAL


def test_two_readings_are_enough() -> None:
    pair = readings("v", [1.0, 1.2])
    assert pair.degrees_of_freedom == 1
    assert pair.standard_uncertainty == pytest.approx(0.1)


@pytest.mark.parametrize("values", [[], [1.0]])
def test_one_reading_says_nothing_of_the_spread(values: list[float]) -> None:
    with pytest.raises(InputError, match="at least two"):
        readings("v", values)


@pytest.mark.parametrize(
    ("value", "u", "degrees", "said"),
    [
        (math.nan, 1, 5, "no value"),
        (math.inf, 1, 5, "no value"),
        (1, -0.1, 5, "zero up"),
        (1, math.nan, 5, "zero up"),
        (1, math.inf, 5, "zero up"),
        (1, 1, 0, "degrees of freedom"),
        (1, 1, -3, "degrees of freedom"),
        (1, 1, math.nan, "degrees of freedom"),
    ],
)
def test_an_input_no_measurement_can_have_is_refused(
    value: float, u: float, degrees: float, said: str
) -> None:
    with pytest.raises(InputError, match=said):
        normal("x", value, u, degrees_of_freedom=degrees)


def test_a_reading_that_is_no_number_is_refused() -> None:
    with pytest.raises(InputError, match="no number"):
        readings("x", [1.0, math.nan, 2.0])


def test_slopes_are_those_of_the_formula() -> None:
    found = budget(
        lambda x, y, z: x * y**2 / z,
        [normal("x", 3, 0.1), normal("y", 2, 0.2), normal("z", 4, 0.4)],
        unit="g",
    )
    slopes = {line.quantity.name: line.sensitivity for line in found.lines}
    assert slopes == pytest.approx({"x": 1, "y": 3, "z": -0.75})
    assert (found.value, found.unit) == (3, "g")
    parts = {line.quantity.name: line.contribution for line in found.lines}
    assert parts == pytest.approx({"x": 0.1, "y": 0.6, "z": -0.3})
    assert found.standard_uncertainty == pytest.approx(math.sqrt(0.46))
    assert found.expanded_uncertainty == pytest.approx(2 * math.sqrt(0.46))
    assert [line.quantity.name for line in found.lines] == ["y", "z", "x"]
    assert found.dominant is found.lines[0]
    assert found.lines[0].share == pytest.approx(0.36 / 0.46)
    assert (found.low, found.high) == pytest.approx(
        (3 - 2 * math.sqrt(0.46), 3 + 2 * math.sqrt(0.46))
    )


def test_one_input_used_twice_counts_as_one() -> None:
    scale = normal("scale", 0, 1)
    twice = budget(lambda bias: (10 + bias) + (20 + bias), [scale])
    cancelled = budget(lambda bias: (20 + bias) - (10 + bias), [scale])
    assert twice.standard_uncertainty == 2  # not √2
    assert (cancelled.standard_uncertainty, cancelled.value) == (0, 10)


@pytest.mark.parametrize("model", [lambda _: 5.0, lambda x: 5 + 0 * x, lambda _: 5])
def test_a_result_that_depends_on_nothing_is_certain(model: Any) -> None:
    found = budget(model, [normal("x", 1, 1)])
    assert (found.value, found.standard_uncertainty) == (5, 0)
    assert found.dominant is None
    assert [line.share for line in found.lines] == [0]
    assert (found.coverage_factor, found.degrees_of_freedom) == (2, math.inf)


@given(st.lists(st.tuples(VALUES, WIDTHS, DEGREES), min_size=1, max_size=6))
def test_shares_sum_to_one_and_come_largest_first(
    facts: list[tuple[float, float, float]],
) -> None:
    inputs = [
        normal(f"x{place}", value, u, degrees_of_freedom=degrees)
        for place, (value, u, degrees) in enumerate(facts)
    ]
    found = budget(add, inputs)
    shares = [line.share for line in found.lines]
    assert sum(shares) == pytest.approx(1)
    assert shares == sorted(shares, reverse=True)
    assert found.expanded_uncertainty == pytest.approx(
        found.coverage_factor * found.standard_uncertainty
    )
    # Welch–Satterthwaite lies between the poorest input and all of them together.
    degrees = [one.degrees_of_freedom for one in inputs]
    assert min(degrees) * (1 - 1e-9) <= found.degrees_of_freedom
    assert found.degrees_of_freedom <= sum(degrees) * (1 + 1e-9)


@given(VALUES, VALUES, WIDTHS, WIDTHS, st.floats(0.001, 1000), st.floats(-1, 1))
def test_another_unit_changes_the_numbers_and_nothing_else(
    one: float, other: float, u: float, v: float, times: float, r: float
) -> None:
    def of(unit: float) -> Any:
        return budget(
            lambda x, y: x * y / unit,
            [normal("x", one * unit, u * unit), normal("y", other, v)],
            correlations={("x", "y"): r},
        )

    small, large = of(1.0), of(times)
    assert large.value == pytest.approx(small.value)
    assume(abs(r) < 0.999)  # near ±1 all can cancel, and only noise is left
    assert large.standard_uncertainty == pytest.approx(small.standard_uncertainty)
    # what is in the unit, scaled
    scaled = budget(lambda x: x * times, [normal("x", one, u)])
    assert scaled.standard_uncertainty == pytest.approx(times * u)


@given(WIDTHS, WIDTHS)
def test_a_perfectly_correlated_pair_adds_or_subtracts(u: float, v: float) -> None:
    inputs = [normal("a", 1, u), normal("b", 2, v)]
    same = budget(add, inputs, correlations={("a", "b"): 1})
    against = budget(add, inputs, correlations={("b", "a"): -1})
    assert same.standard_uncertainty == pytest.approx(u + v)
    assert against.standard_uncertainty == pytest.approx(abs(u - v), abs=1e-6 * (u + v))
    shared = budget(lambda both: 1 + 2 + both * (u + v), [normal("both", 0, 1)])
    assert shared.standard_uncertainty == pytest.approx(same.standard_uncertainty)


def test_what_correlated_inputs_make_together_is_halved_between_them() -> None:
    found = budget(
        lambda x, y: x - y,
        [normal("x", 1, 3), normal("y", 1, 1)],
        correlations={("x", "y"): 0.5},
    )
    assert found.standard_uncertainty == pytest.approx(math.sqrt(9 + 1 - 3))
    assert [line.share for line in found.lines] == pytest.approx([7.5 / 7, -0.5 / 7])
    assert found.correlations == {("x", "y"): 0.5}


@given(st.floats(-1, 1), WIDTHS, WIDTHS)
def test_shares_of_correlated_inputs_sum_to_one(r: float, u: float, v: float) -> None:
    found = budget(
        add,
        [normal("x", 1, u), normal("y", 1, v), normal("z", 1, 1)],
        correlations={("x", "y"): r},
    )
    assert sum(line.share for line in found.lines) == pytest.approx(1)


@pytest.mark.parametrize(
    ("correlations", "said"),
    [
        ({("a", "nobody"): 0.5}, "“nobody”, which is no input"),
        ({("a", "twin"): 0.5}, "More than one input is called “twin”"),
        ({("a", "a"): 1}, "one input"),
        ({("a", "b"): 0.5, ("b", "a"): 0.5}, "given twice"),
        ({("a", "b"): 1.01}, "from −1 to 1"),
        ({("a", "b"): -1.01}, "from −1 to 1"),
        ({("a", "b"): math.nan}, "from −1 to 1"),
        ({("a", "b"): 1, ("b", "c"): 1, ("a", "c"): -1}, "contradict each other"),
        ({("a", "b"): 0.9, ("b", "c"): 0.9, ("a", "c"): 0}, "contradict each other"),
    ],
)
def test_correlations_that_cannot_be_are_refused(
    correlations: dict[tuple[str, str], float], said: str
) -> None:
    names = ["a", "b", "c", "twin", "twin"]
    with pytest.raises(CorrelationError, match=said):
        budget(add, [normal(n, 1, 1) for n in names], correlations=correlations)


def test_three_inputs_can_be_perfectly_correlated() -> None:
    found = budget(
        add,
        [normal(name, 1, 1) for name in "abc"],
        correlations={("a", "b"): 1, ("b", "c"): 1, ("a", "c"): 1},
    )
    assert found.standard_uncertainty == pytest.approx(3)


def test_related_inputs_are_gathered_directly_or_through_others() -> None:
    assert groups(5, [(3, 4, 0.1), (0, 3, 0.1)]) == [[0, 3, 4], [1], [2]]
    assert groups(5, [(0, 1, 0.1), (2, 3, 0.1), (1, 2, 0.1)]) == [[0, 1, 2, 3], [4]]
    assert groups(2, []) == [[0], [1]]


def test_degrees_of_correlated_inputs_are_the_fewest_among_them() -> None:
    inputs = [
        normal("a", 1, 1, degrees_of_freedom=4),
        normal("b", 1, 1, degrees_of_freedom=9),
    ]
    together = budget(add, inputs, correlations={("a", "b"): 0.5})
    assert together.degrees_of_freedom == pytest.approx(4)
    apart = budget(add, inputs)
    assert apart.degrees_of_freedom == pytest.approx(4 / (1 / 4 + 1 / 9))
    half = budget(
        add, [*inputs, normal("c", 1, math.sqrt(3))], correlations={("a", "b"): 0.5}
    )
    assert half.degrees_of_freedom == pytest.approx(4 / 0.25)


def test_no_input_is_refused() -> None:
    with pytest.raises(InputError, match="at least one"):
        budget(lambda: 1, [])


@pytest.mark.parametrize(
    "model",
    [
        lambda x: 1 / x,
        lambda x: x**0.5,  # no slope
        lambda x: x + math.inf,
        lambda x: x * math.nan,
        lambda _: math.nan,
        lambda x: 1 / (0 * x),
    ],
)
def test_a_formula_without_value_or_slope_is_refused(model: Any) -> None:
    with pytest.raises(NotFiniteError, match="check the inputs"):
        budget(model, [normal("x", 0, 1)])


def test_every_refusal_is_a_statistics_error() -> None:
    for kind in (InputError, CorrelationError, NotFiniteError):
        assert issubclass(kind, StatisticsError)
    assert issubclass(StatisticsError, ValueError)


def test_k_is_two_for_many_degrees_and_more_for_few() -> None:
    assert coverage_factor() == 2
    assert coverage_factor(MANY_DEGREES) == 2
    just_fewer = coverage_factor(MANY_DEGREES - 1e-9)
    assert 2.04 < just_fewer < 2.06
    assert coverage_factor(1) == pytest.approx(13.97, abs=0.005)
    for bad in (0, -1, math.nan):
        with pytest.raises(InputError):
            coverage_factor(bad)


@given(st.floats(1, 49), st.floats(0.1, 10))
def test_k_falls_as_degrees_grow(degrees: float, more: float) -> None:
    assert coverage_factor(degrees + more) < coverage_factor(degrees)


@given(st.one_of(st.floats(1, 49), st.floats(50, 1e6), st.just(math.inf)))
def test_the_interval_holds_what_it_says(degrees: float) -> None:
    k = coverage_factor(degrees)
    beyond = distribution_function(-k, degrees)
    assert 1 - 2 * beyond == pytest.approx(0.9545, abs=1e-6)


def test_chances_beyond_a_limit() -> None:
    found = budget(lambda x: x, [normal("x", 10, 0.5)])
    assert found.probability_above(11) == pytest.approx(0.02275, abs=1e-5)
    assert found.probability_below(Decimal("9.5")) == pytest.approx(0.15866, abs=1e-5)
    few = budget(lambda x: x, [normal("x", 10, 0.5, degrees_of_freedom=4)])
    assert few.probability_above(11) == pytest.approx(0.0581, abs=1e-4)


@given(VALUES, WIDTHS, VALUES, DEGREES)
def test_chances_above_and_below_are_all_there_is(
    value: float, u: float, limit: float, degrees: float
) -> None:
    found = budget(lambda x: x, [normal("x", value, u, degrees_of_freedom=degrees)])
    above, below = found.probability_above(limit), found.probability_below(limit)
    assert above + below == pytest.approx(1)
    assert (above > 0.5) == (value > limit) or value == pytest.approx(limit)


def test_a_certain_value_on_the_limit_is_beyond_neither_side() -> None:
    found = budget(lambda x: x, [normal("x", 10, 0)])
    assert [found.probability_above(limit) for limit in (9, 10, 11)] == [1, 0, 0]
    assert [found.probability_below(limit) for limit in (9, 10, 11)] == [0, 0, 1]
