"""How likely a value conforms, and how likely a judgement is wrong."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from quality.statistics.conformity import RULE, RULES, DecisionRule, Verdict, judge
from quality.statistics.errors import InputError
from quality.statistics.risks import (
    guard_band_for,
    probability_of_conformance,
    risk_of_wrong_decision,
    worst_false_accept,
)

pytestmark = pytest.mark.any_engine

NUMBERS = st.floats(-100, 100)
WIDTHS = st.floats(0.01, 20)
RISKS = st.floats(1e-6, 0.5)
DEGREES = st.one_of(st.floats(1, 200), st.just(math.inf))


@given(NUMBERS, WIDTHS, NUMBERS, DEGREES)
def test_a_limit_divides_all_there_is(
    value: float, u: float, limit: float, degrees: float
) -> None:
    below = probability_of_conformance(
        value, u, upper=limit, degrees_of_freedom=degrees
    )
    above = probability_of_conformance(
        value, u, lower=limit, degrees_of_freedom=degrees
    )
    assert below + above == pytest.approx(1)
    assert 0 <= below <= 1


@given(NUMBERS, WIDTHS, NUMBERS, NUMBERS)
def test_two_limits_hold_what_is_between_them(
    value: float, u: float, one: float, other: float
) -> None:
    lower, upper = sorted([one, other])
    both = probability_of_conformance(value, u, lower=lower, upper=upper)
    beyond = probability_of_conformance(value, u, upper=lower)
    beyond += probability_of_conformance(value, u, lower=upper)
    assert both == pytest.approx(1 - beyond, abs=1e-9)


@given(NUMBERS, WIDTHS, NUMBERS, NUMBERS)
def test_the_risk_is_of_what_was_decided(
    value: float, u: float, one: float, other: float
) -> None:
    lower, upper = sorted([one, other])
    conforms = probability_of_conformance(value, u, lower=lower, upper=upper)
    risk = risk_of_wrong_decision(value, u, lower=lower, upper=upper)
    inside = lower <= value <= upper
    assert risk == pytest.approx(1 - conforms if inside else conforms, abs=1e-12)
    # With one limit a value is likelier on the side where it was found.
    assert risk_of_wrong_decision(value, u, upper=upper) <= 0.5


def test_with_few_degrees_of_freedom_the_tails_are_heavier() -> None:
    wide = risk_of_wrong_decision(9, 0.5, upper=10, degrees_of_freedom=4)
    assert wide == pytest.approx(0.0581, abs=1e-4)
    assert wide > risk_of_wrong_decision(9, 0.5, upper=10)


def test_a_certain_value_conforms_or_does_not() -> None:
    ten = Decimal(10)
    cases = [(Decimal("9.9"), 1), (ten, 1), (Decimal("10.1"), 0)]
    for value, conforms in cases:
        found = probability_of_conformance(value, 0, lower=Decimal(8), upper=ten)
        assert found == conforms
        assert risk_of_wrong_decision(value, 0, lower=Decimal(8), upper=ten) == 0
    assert probability_of_conformance(8, 0, lower=8) == 1
    assert probability_of_conformance(7.9, 0, lower=8) == 0


@given(RISKS, WIDTHS, DEGREES)
def test_guard_band_and_risk_are_inverse(risk: float, u: float, degrees: float) -> None:
    band = guard_band_for(risk, u, degrees_of_freedom=degrees)
    reached = worst_false_accept(band, u, degrees_of_freedom=degrees)
    assert reached <= risk * (1 + 1e-9)
    assert reached == pytest.approx(risk, rel=1e-3)


@given(WIDTHS, st.floats(0, 3), st.floats(0, 3))
def test_a_value_inside_by_the_guard_band_is_never_riskier_than_the_worst(
    u: float, bands: float, deeper: float
) -> None:
    band = bands * u
    value = 10 - band - deeper
    worst = worst_false_accept(band, u)
    assert risk_of_wrong_decision(value, u, upper=10) <= worst + 1e-12


@given(st.sampled_from(list(RULES.values())), WIDTHS, st.floats(0, 10))
def test_nothing_that_passes_is_riskier_than_the_worst_between_two_limits(
    rule: DecisionRule, u: float, wider: float
) -> None:
    """The bound for the rule holds for any u, and is reached in the closest window."""
    band = float(rule.bands) * 2 * u
    window = 2 * band + wider
    worst = worst_false_accept(band, u, window=window)
    bound = worst_false_accept(band, u, window=2 * band)
    assert worst <= bound + 1e-12
    assert bound == pytest.approx(2 * norm.cdf(-2 * float(rule.bands)))
    for share in (0.0, 0.1, 0.5, 1.0):
        value = band + share * wider
        assert risk_of_wrong_decision(value, u, lower=0, upper=window) <= worst + 1e-9
    edge = risk_of_wrong_decision(band, u, lower=0, upper=window)
    assert edge == pytest.approx(worst)


def test_two_limits_far_apart_are_as_one() -> None:
    assert worst_false_accept(0.6, 0.3, window=100) == pytest.approx(
        worst_false_accept(0.6, 0.3)
    )


def test_a_band_for_even_chances_is_none_at_all() -> None:
    assert guard_band_for(0.5, 0.3) == 0
    assert guard_band_for(0.01, 0) == 0
    assert worst_false_accept(0, 0.3) == 0.5


def test_a_pass_by_our_rule_is_wrong_less_than_once_in_forty() -> None:
    u = Decimal("0.3")
    band = RULE.guard_band(2 * u)
    on_the_acceptance_limit = Decimal(10) - band
    verdict = judge(
        on_the_acceptance_limit, lower=None, upper=Decimal(10), guard_band=band
    )
    assert verdict is Verdict.PASS
    risk = risk_of_wrong_decision(on_the_acceptance_limit, u, upper=Decimal(10))
    assert risk == pytest.approx(worst_false_accept(band, u))
    assert risk < 0.025


def test_a_rule_is_a_value_with_name_and_version() -> None:
    assert RULE.guard_band(Decimal("0.6")) == Decimal("0.6")
    wider = DecisionRule(
        slug="half_again_2",
        name="Half again",
        version=2,
        bands=Decimal("1.5"),
        source="x",
    )
    assert wider.guard_band(Decimal("0.6")) == Decimal("0.90")
    assert wider.statement == "Half again; version 2 (x)."
    with pytest.raises(AttributeError):
        RULE.version = 3  # type: ignore[misc]


@pytest.mark.parametrize(
    ("value", "u", "lower", "upper", "said"),
    [
        (1, 1, None, None, "needs a limit"),
        (1, 1, 3, 2, "above the upper"),
        (1, -1, None, 2, "not\\s+below zero"),
        (math.nan, 1, None, 2, "must be numbers"),
        (1, math.inf, None, 2, "must be numbers"),
        (1, 1, math.nan, None, "must be numbers"),
    ],
)
def test_what_cannot_be_judged_is_refused(
    value: float, u: float, lower: float | None, upper: float | None, said: str
) -> None:
    for function in (probability_of_conformance, risk_of_wrong_decision):
        with pytest.raises(InputError, match=said):
            function(value, u, lower=lower, upper=upper)


@pytest.mark.parametrize("risk", [0, -0.1, 0.51, math.nan])
def test_a_risk_nobody_can_choose_is_refused(risk: float) -> None:
    with pytest.raises(InputError, match="risk"):
        guard_band_for(risk, 1)


def test_bands_and_widths_below_zero_are_refused() -> None:
    for band, u in ((-0.1, 1), (1, 0), (1, -1), (1, math.inf), (math.nan, 1)):
        with pytest.raises(InputError):
            worst_false_accept(band, u)
    for window in (1.1, math.nan):  # two bands of 0.6 find no room
        with pytest.raises(InputError, match="Two limits"):
            worst_false_accept(0.6, 0.3, window=window)
    for u in (-1, math.nan, math.inf):
        with pytest.raises(InputError):
            guard_band_for(0.05, u)
