"""Each rule finds its own pattern, one point too few does not, and who said so."""

from __future__ import annotations

import doctest
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quality.statistics import run_rules
from quality.statistics.errors import StatisticsError
from quality.statistics.run_rules import (
    NELSON,
    NELSON_RULES,
    WECO,
    WECO_RULES,
    Rule,
    Side,
    signals,
)

pytestmark = pytest.mark.any_engine


def found(
    heights: list[float], rules: tuple[Rule, ...] = WECO_RULES
) -> list[tuple[int, str, tuple[int, ...]]]:
    return [
        (signal.rule.number, signal.side.value, signal.points)
        for signal in signals(heights, centre=0, sigma=1, rules=rules)
    ]


def numbers(heights: list[float], rules: tuple[Rule, ...]) -> set[int]:
    return {number for number, _, _ in found(heights, rules)}


def test_the_worked_examples_hold() -> None:
    assert doctest.testmod(run_rules).failed == 0


def test_one_point_beyond_three_sigma() -> None:
    assert found([0.5, -3.01, 0.5]) == [(1, "below", (1,))]
    assert found([0.5, -3.0, 0.5]) == []


def test_two_of_three_beyond_two_sigma_on_one_side() -> None:
    assert found([0, 2.1, 0.1, 2.1, 0]) == [(2, "above", (1, 3))]
    assert found([0, 2.1, 0.1, -0.1, 2.1]) == []
    assert found([0, 2.1, -2.1, 0]) == []
    assert found([2.1, 2.1]) == [(2, "above", (0, 1))]


def test_four_of_five_beyond_one_sigma_on_one_side() -> None:
    assert found([-0.5, 1.1, 1.1, -0.5, 1.1, 1.1]) == [(3, "above", (1, 2, 4, 5))]
    assert found([-0.5, 1.1, -0.5, 1.1, -0.5, 1.1, 1.1]) == []


def test_eight_in_a_row_are_a_run_for_western_electric_nine_for_nelson() -> None:
    eight = [0.1, 0.2] * 4
    assert found(eight) == [(4, "above", tuple(range(8)))]
    assert numbers(eight, NELSON_RULES) == set()
    assert found([*eight, 0.1], NELSON_RULES) == [(2, "above", tuple(range(9)))]
    assert found(eight[:7]) == []


def test_a_point_on_the_centre_ends_a_run() -> None:
    assert found([0.1] * 7 + [0.0] + [0.1] * 7) == []


def test_a_longer_run_is_told_once_with_all_its_points() -> None:
    assert found([-0.1, *[0.1] * 11, -0.1]) == [(4, "above", tuple(range(1, 12)))]


def test_two_patterns_apart_are_told_apart() -> None:
    assert found([3.5, 0, 0, 0, 0, 3.6]) == [(1, "above", (0,)), (1, "above", (5,))]


def test_six_points_that_all_move_one_way() -> None:
    rise = [-0.9, -0.5, -0.2, 0.1, 0.4, 0.8]
    assert found(rise, NELSON_RULES) == [(3, "above", tuple(range(6)))]
    assert found(rise[::-1], NELSON_RULES) == [(3, "below", tuple(range(6)))]
    assert found(rise[:5], NELSON_RULES) == []
    assert found([-0.9, -0.5, -0.5, 0.1, 0.4, 0.8], NELSON_RULES) == []


def test_fourteen_points_up_and_down_by_turns() -> None:
    turns = [1.2, -1.2] * 7
    assert 4 in numbers(turns, NELSON_RULES)
    assert 4 not in numbers(turns[:13], NELSON_RULES)
    (signal,) = [s for s in found(turns, NELSON_RULES) if s[0] == 4]
    assert signal == (4, "", tuple(range(14)))


def test_fifteen_points_that_keep_too_close_to_the_centre() -> None:
    close = [0.5, 0.4, -0.3, -0.5, 0.2] * 3
    assert numbers(close, NELSON_RULES) == {7}
    assert numbers(close[:14], NELSON_RULES) == set()


def test_eight_points_that_keep_off_the_centre_on_both_sides() -> None:
    off = [1.5, -1.5, -1.4, 1.4, 1.5, -1.5, -1.4, 1.4]
    assert numbers(off, NELSON_RULES) == {8}
    assert numbers(off[:7], NELSON_RULES) == set()
    assert 8 not in numbers([1.5] * 8, NELSON_RULES)


def test_every_rule_names_its_origin() -> None:
    assert {rule.origin for rule in WECO_RULES} == {WECO}
    assert {rule.origin for rule in NELSON_RULES} == {NELSON}
    assert [rule.number for rule in WECO_RULES] == [1, 2, 3, 4]
    assert [rule.number for rule in NELSON_RULES] == [1, 2, 3, 4, 5, 6, 7, 8]


def test_a_signal_is_said_in_words() -> None:
    (pair,) = signals([2.5, -0.1, 2.5], centre=0, sigma=1)
    assert str(pair) == (
        "Points 1 and 3 lie in the outer third of the upper half or beyond:"
        " two of three"
    )
    (run,) = signals([-0.1] * 8, centre=0, sigma=1)
    assert str(run) == "Points 1 to 8 lie in the lower half, eight in a row or more"
    assert run.side is Side.BELOW


HEIGHTS = st.lists(st.floats(-4, 4).map(lambda v: round(v, 2)), min_size=1, max_size=40)
MIRROR = {"above": "below", "below": "above", "": ""}


@given(HEIGHTS)
def test_a_mirrored_series_has_mirrored_signals(heights: list[float]) -> None:
    for rules in (WECO_RULES, NELSON_RULES):
        mirrored = found([-height for height in heights], rules)
        assert sorted(mirrored) == sorted(
            (number, MIRROR[side], points)
            for number, side, points in found(heights, rules)
        )


@given(HEIGHTS, st.integers(0, 40))
def test_what_was_found_stays_found_when_points_are_added(
    heights: list[float], cut: int
) -> None:
    for rules in (WECO_RULES, NELSON_RULES):
        whole = found(heights, rules)
        for number, side, points in found(heights[:cut], rules):
            assert any(
                (number, side) == (n, s) and set(points) <= set(p) for n, s, p in whole
            )


@given(HEIGHTS)
def test_every_point_beyond_three_sigma_is_named(heights: list[float]) -> None:
    named = {
        point for number, _, points in found(heights) if number == 1 for point in points
    }
    assert named == {place for place, height in enumerate(heights) if abs(height) > 3}


@pytest.mark.parametrize("sigma", [0, -1, math.nan, math.inf])
def test_a_spread_that_is_none_is_refused(sigma: float) -> None:
    with pytest.raises(StatisticsError):
        signals([1.0], centre=0, sigma=sigma)
