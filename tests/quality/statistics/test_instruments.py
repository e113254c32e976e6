"""Checks of scales, thermometers, pH meters and strips; buffers by temperature."""

from __future__ import annotations

import doctest
import itertools
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quality.statistics import buffers, instruments
from quality.statistics.buffers import TABLES, BufferSet, buffer_ph
from quality.statistics.conformity import Verdict
from quality.statistics.errors import OutsideTableError, StatisticsError
from quality.statistics.instruments import (
    BufferReading,
    MeterCheck,
    check_error,
    check_meter,
    nernst_slope,
    reading_uncertainty,
    smallest_net_mass,
    strip_fit,
)

pytestmark = pytest.mark.any_engine

STEPS = st.decimals(min_value="0.001", max_value=10, places=3)
HALVES = st.decimals(min_value=0, max_value=10, places=3)


def error(shown: str, **changes: Any) -> instruments.ErrorCheck:
    facts: dict[str, Any] = {
        "shown": Decimal(shown),
        "reference": Decimal(500),
        "tolerance": Decimal(1),
        "step": Decimal("0.1"),
        "reference_half_width": Decimal("0.3"),
    }
    return check_error(**{**facts, **changes})


@pytest.mark.parametrize("module", [buffers, instruments])
def test_the_worked_examples_hold(module: object) -> None:
    assert doctest.testmod(module).failed == 0  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("shown", "verdict"),
    [
        ("500.6", Verdict.PASS),
        ("500.9", Verdict.CONDITIONAL_PASS),
        ("501.0", Verdict.CONDITIONAL_PASS),
        ("498.8", Verdict.CONDITIONAL_FAIL),
        ("501.5", Verdict.FAIL),
    ],
)
def test_an_error_has_one_of_four_outcomes(shown: str, verdict: Verdict) -> None:
    check = error(shown)
    assert check.verdict is verdict
    assert verdict.label in check.sentence
    assert check.error == Decimal(shown) - 500


def test_a_reference_that_is_too_coarse_is_said_to_be() -> None:
    assert "too coarse" in error("500", reference_half_width=Decimal(2)).sentence
    assert "too coarse" not in error("500").sentence


@pytest.mark.parametrize(
    "changes", [{"tolerance": 0}, {"tolerance": -1}, {"step": 0}, {"step": -1}]
)
def test_a_check_without_tolerance_or_step_is_refused(changes: dict[str, int]) -> None:
    with pytest.raises(StatisticsError, match="above zero"):
        error("500", **{name: Decimal(value) for name, value in changes.items()})


def test_a_half_width_has_no_sign() -> None:
    with pytest.raises(StatisticsError, match="without a sign"):
        error("500", reference_half_width=Decimal("-0.1"))


@given(STEPS, HALVES)
def test_a_wider_step_or_reference_makes_a_reading_less_sure(
    step: Decimal, half: Decimal
) -> None:
    assert reading_uncertainty(step, half) < reading_uncertainty(step * 2, half)
    assert reading_uncertainty(step, half) < reading_uncertainty(step, half + 1)


@given(STEPS, HALVES)
def test_the_smallest_net_mass_is_weighed_to_its_share_and_a_step_less_is_not(
    step: Decimal, half: Decimal
) -> None:
    least = smallest_net_mass(step, half)
    spread = 2 * Decimal(2).sqrt() * reading_uncertainty(step, half)
    slack = Decimal("1e-9")
    assert spread <= least / 100 + slack
    assert spread > (least - step) / 100 - slack
    assert least % step == 0


@given(STEPS, HALVES)
def test_the_smallest_net_mass_grows_with_scale_spread_and_demand(
    step: Decimal, half: Decimal
) -> None:
    least = smallest_net_mass(step, half)
    assert smallest_net_mass(step, half, repeatability=step + half) > least
    assert smallest_net_mass(step, half, share=Decimal("0.001")) > least
    ten = smallest_net_mass(10 * step, 10 * half)
    assert ten == pytest.approx(10 * least)


def test_a_gram_scale_cannot_weigh_three_grams_of_citric_acid() -> None:
    assert smallest_net_mass(Decimal(1)) > 3
    assert smallest_net_mass(Decimal("0.01")) < 3


@pytest.mark.parametrize("share", [0, 1, -1])
def test_a_share_that_is_none_is_refused(share: int) -> None:
    with pytest.raises(StatisticsError, match="between 0 and 1"):
        smallest_net_mass(Decimal(1), share=Decimal(share))


def test_a_repeatability_has_no_sign() -> None:
    with pytest.raises(StatisticsError, match="not below zero"):
        smallest_net_mass(Decimal(1), repeatability=Decimal(-1))


# ------------------------------------------------------------------ buffers


@pytest.mark.parametrize("which", list(BufferSet))
def test_every_value_of_a_table_is_given_back(which: BufferSet) -> None:
    for name, table in TABLES[which].items():
        assert table[25] == Decimal(name)
        for degrees, ph in table.items():
            assert buffer_ph(which, name, Decimal(degrees)) == ph


@pytest.mark.parametrize("which", list(BufferSet))
def test_between_two_temperatures_lies_what_is_between_their_values(
    which: BufferSet,
) -> None:
    for name, table in TABLES[which].items():
        degrees = sorted(table)
        for below, above in itertools.pairwise(degrees):
            middle = buffer_ph(which, name, Decimal(below + above) / 2)
            assert middle == pytest.approx((table[below] + table[above]) / 2)


def test_the_two_sets_have_no_buffer_in_common() -> None:
    technical, standard = (set(TABLES[which]) for which in BufferSet)
    assert not technical & standard
    for which, names in (
        (BufferSet.STANDARD, technical),
        (BufferSet.TECHNICAL, standard),
    ):
        for name in names:
            with pytest.raises(OutsideTableError, match="different solutions"):
                buffer_ph(which, name, Decimal(25))


@pytest.mark.parametrize("temperature", ["-0.1", "50.1", "100"])
def test_outside_the_table_nothing_is_said(temperature: str) -> None:
    for which in BufferSet:
        for name in TABLES[which]:
            with pytest.raises(OutsideTableError, match="goes from 0 to"):
                buffer_ph(which, name, Decimal(temperature))


def test_the_carbonate_buffer_of_the_standard_set_ends_at_38_degrees() -> None:
    with pytest.raises(OutsideTableError):
        buffer_ph(BufferSet.STANDARD, "10.02", Decimal("38.1"))


# ------------------------------------------------------------------ pH meters


def meter(
    shown: tuple[str, str],
    *,
    references: tuple[str, str] = ("7.00", "10.01"),
    millivolts: tuple[str, str] | None = None,
    **changes: Any,
) -> MeterCheck:
    first, second = (
        BufferReading(
            reference=Decimal(references[place]),
            shown=Decimal(shown[place]),
            millivolts=None if millivolts is None else Decimal(millivolts[place]),
        )
        for place in (0, 1)
    )
    facts: dict[str, Any] = {
        "temperature": Decimal(25),
        "tolerance": Decimal("0.1"),
        "step": Decimal("0.01"),
        "reference_half_width": Decimal("0.02"),
    }
    return check_meter(first, second, **{**facts, **changes})


def test_a_meter_that_shows_the_buffers_has_the_whole_slope() -> None:
    check = meter(("7.00", "10.01"))
    assert check.slope_percent == pytest.approx(100)
    assert check.offset == pytest.approx(0)
    assert check.passed
    assert check.brackets
    assert not check.from_millivolts


def test_a_tired_electrode_fails_by_its_slope_though_its_errors_are_small() -> None:
    check = meter(("7.09", "9.93"))
    assert all(one.verdict.acceptable for one in check.errors)
    assert check.slope_percent == pytest.approx(94.35, abs=0.01)
    assert not check.passed
    assert "clean or replace the electrode" in check.sentence


def test_an_error_beyond_the_tolerance_fails_though_the_slope_is_good() -> None:
    check = meter(("7.30", "10.31"))
    assert check.slope_percent == pytest.approx(100)
    assert check.offset == pytest.approx(0.3)
    assert not check.passed


def test_millivolts_give_the_slope_against_the_ideal_one() -> None:
    check = meter(("7.00", "10.01"), millivolts=("3", "-172"))
    assert check.from_millivolts
    assert check.slope_percent == pytest.approx(100 * 175 / 3.01 / 59.159, abs=0.01)
    assert check.offset == pytest.approx(3)
    assert "mV" in check.sentence


def test_the_offset_is_that_of_the_line_at_ph_7() -> None:
    for references in (("4.00", "10.06"), ("10.06", "4.00")):
        first, second = (
            str(7 + Decimal("0.05") + Decimal("0.97") * (Decimal(ph) - 7))
            for ph in references
        )
        check = meter((first, second), references=references)
        assert check.slope_percent == pytest.approx(97)
        assert check.offset == pytest.approx(0.05)
        volts = (
            str(3 - 58 * (Decimal(references[0]) - 7)),
            str(3 - 58 * (Decimal(references[1]) - 7)),
        )
        assert meter(
            (first, second), references=references, millivolts=volts
        ).offset == pytest.approx(3)


def test_the_ideal_electrode_has_a_hundred_per_cent_at_every_temperature() -> None:
    for degrees in (5, 20, 40):
        millivolts = f"{-3.01 * nernst_slope(degrees):.6f}"
        check = meter(
            ("7.00", "10.01"),
            millivolts=("0", millivolts),
            temperature=Decimal(degrees),
        )
        assert check.slope_percent == pytest.approx(100, abs=1e-4)


def test_the_order_of_the_buffers_does_not_matter() -> None:
    one = meter(("7.02", "9.95"), millivolts=("2", "-170"))
    other = meter(
        ("9.95", "7.02"),
        references=("10.01", "7.00"),
        millivolts=("-170", "2"),
    )
    assert other.slope_percent == pytest.approx(one.slope_percent)
    assert other.offset == pytest.approx(one.offset)
    assert (other.passed, other.brackets) == (one.passed, one.brackets)


@pytest.mark.parametrize(
    ("references", "brackets"),
    [
        (("7.00", "10.01"), True),
        (("6.86", "10.02"), True),
        (("6.98", "9.89"), True),
        (("4.00", "7.00"), False),
        (("6.86", "9.18"), False),
    ],
)
def test_buffers_must_lie_on_both_sides_of_what_is_judged(
    references: tuple[str, str], *, brackets: bool
) -> None:
    check = meter(references, references=references)
    assert check.brackets is brackets
    assert ("repeat it with 7 and 10" in check.sentence) is not brackets


def test_two_buffers_of_one_kind_are_refused() -> None:
    with pytest.raises(StatisticsError, match="less than 1 pH apart"):
        meter(("6.86", "7.00"), references=("6.86", "7.00"))


@pytest.mark.parametrize("temperature", [-1, 101])
def test_there_is_no_slope_where_water_is_not_liquid(temperature: int) -> None:
    with pytest.raises(OutsideTableError):
        nernst_slope(temperature)


@given(st.floats(0, 99))
def test_the_ideal_slope_grows_with_the_absolute_temperature(degrees: float) -> None:
    assert nernst_slope(degrees + 1) / nernst_slope(degrees) == pytest.approx(
        (degrees + 274.15) / (degrees + 273.15)
    )


# ------------------------------------------------------------------ strips


@given(STEPS, HALVES)
def test_a_strip_decides_exactly_where_something_is_left_of_the_window(
    step: Decimal, half: Decimal
) -> None:
    fit = strip_fit(step, half)
    assert fit.decides == (fit.surely_from < fit.surely_to)
    assert fit.expanded_uncertainty == 2 * fit.standard_uncertainty
    assert ("too coarse" in fit.sentence) is not fit.decides


def test_half_steps_decide_and_whole_steps_that_are_off_by_one_do_not() -> None:
    assert strip_fit(Decimal("0.5")).decides
    assert not strip_fit(Decimal(1), Decimal(1)).decides


def test_a_window_upside_down_is_refused() -> None:
    with pytest.raises(StatisticsError, match="below the upper"):
        strip_fit(Decimal("0.5"), window=(Decimal(10), Decimal(8)))
