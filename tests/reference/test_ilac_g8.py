"""ILAC-G8:09/2019, Guidelines on Decision Rules and Statements of Conformity, 4.2.3.

Flag: read, page 10 of 20, at fliphtml5.com/szbrq/ktfm. Non-binary statement with guard
band: pass below TL − w; conditional pass in [TL − w, TL]; conditional fail in
[TL, TL + w]; fail above TL + w. The intervals share their ends, so the ends themselves
are not tested here; 4.1 says to mirror the rule for a lower limit.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from quality.statistics.conformity import RULES, Verdict, judge

NUMBERS = st.decimals(min_value=-1000, max_value=1000, places=3)
WIDTHS = st.decimals(min_value="0.001", max_value=100, places=3)


def by_the_text(value: Decimal, limit: Decimal, width: Decimal) -> Verdict:
    if value < limit - width:
        return Verdict.PASS
    if value < limit:
        return Verdict.CONDITIONAL_PASS
    if value < limit + width:
        return Verdict.CONDITIONAL_FAIL
    return Verdict.FAIL


@given(NUMBERS, WIDTHS, st.decimals(min_value=-3, max_value=3, places=2))
def test_an_upper_limit_is_judged_as_the_text_says(
    limit: Decimal, width: Decimal, widths_away: Decimal
) -> None:
    value = limit + width * widths_away
    assume(widths_away not in {-1, 0, 1})
    outcome = judge(value, lower=None, upper=limit, guard_band=width)
    assert outcome is by_the_text(value, limit, width)


@given(NUMBERS, WIDTHS, st.decimals(min_value=-3, max_value=3, places=2))
def test_a_lower_limit_is_judged_in_the_mirror(
    limit: Decimal, width: Decimal, widths_away: Decimal
) -> None:
    value = limit + width * widths_away
    assume(widths_away not in {-1, 0, 1})
    outcome = judge(value, lower=limit, upper=None, guard_band=width)
    assert outcome is by_the_text(-value, -limit, width)


@pytest.mark.parametrize(
    ("value", "outcome"),
    [
        ("9.3", Verdict.PASS),
        ("9.7", Verdict.CONDITIONAL_PASS),
        ("10.3", Verdict.CONDITIONAL_FAIL),
        ("10.7", Verdict.FAIL),
    ],
)
def test_the_four_zones_around_a_limit_of_ten(value: str, outcome: Verdict) -> None:
    assert (
        judge(Decimal(value), lower=None, upper=Decimal(10), guard_band=Decimal("0.6"))
        is outcome
    )


@given(NUMBERS, NUMBERS, WIDTHS)
def test_simple_acceptance_is_the_binary_statement_without_a_guard_band(
    value: Decimal, limit: Decimal, expanded_uncertainty: Decimal
) -> None:
    """4.2.1, from memory: the acceptance limit is the tolerance limit itself."""
    assume(value != limit)
    band = RULES["simple_1"].guard_band(expanded_uncertainty)
    outcome = judge(value, lower=None, upper=limit, guard_band=band)
    assert outcome is (Verdict.PASS if value < limit else Verdict.FAIL)
