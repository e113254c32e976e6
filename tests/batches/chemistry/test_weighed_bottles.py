"""What a weighed bottle can hold, and how well a mean of them is known."""

from __future__ import annotations

import dataclasses
import itertools
import statistics
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.chemistry.errors import OutOfRangeError
from batches.chemistry.net_content import lot_check
from batches.chemistry.weighed_bottles import (
    check_net_masses,
    mean_uncertainty_ml,
    said_of_doubt,
    share_of_nominal,
)

pytestmark = pytest.mark.any_engine

GRAMS = st.decimals(1, 10_000, places=2)


def uncertainty(**changes: Decimal | int) -> Decimal:
    facts = {
        "count": 24,
        "step_g": Decimal(1),
        "half_width_g": Decimal(1),
        **changes,
    }
    return mean_uncertainty_ml(Decimal(500), Decimal("1.02"), **facts)  # type: ignore[arg-type]


@given(GRAMS)
def test_what_a_bottle_nominally_holds_is_always_let_through(nominal: Decimal) -> None:
    check_net_masses(nominal, Decimal("1.02"), [nominal * Decimal("1.02")])


@given(GRAMS)
def test_a_slip_of_the_point_never_is(nominal: Decimal) -> None:
    for slip in (Decimal("0.1"), Decimal(10), Decimal(100)):
        with pytest.raises(OutOfRangeError, match="Mass 2"):
            check_net_masses(nominal, Decimal(1), [nominal, nominal * slip])


def test_a_mass_below_zero_is_a_matter_of_the_tare() -> None:
    with pytest.raises(OutOfRangeError, match="Mass 1: the tare is heavier"):
        check_net_masses(Decimal(500), Decimal(1), [Decimal(-1)])


def test_the_uncertainty_of_a_mean_by_hand() -> None:
    # 2·sqrt((1/6/24 + 1/3)/1.02² + (500·0.005)²/3)
    assert float(uncertainty()) == pytest.approx(3.1051, abs=1e-4)


def test_more_bottles_make_the_display_finer_and_nothing_else() -> None:
    many = uncertainty(count=10_000, half_width_g=Decimal(0))
    # What is left is the density: 2·500·0.005/√3.
    assert float(many) == pytest.approx(2.88675, rel=1e-5)
    assert uncertainty(count=1) > uncertainty(count=24) > many


def test_no_bottles_and_no_density_are_refused() -> None:
    with pytest.raises(OutOfRangeError):
        uncertainty(count=0)
    with pytest.raises(OutOfRangeError):
        mean_uncertainty_ml(
            Decimal(500),
            Decimal(0),
            count=1,
            step_g=Decimal(1),
            half_width_g=Decimal(0),
        )


@pytest.mark.parametrize(
    ("content", "doubtful"), [("502", True), ("502.1", False), ("497.9", False)]
)
def test_a_mean_within_its_uncertainty_is_not_told_from_the_nominal(
    content: str,
    doubtful: bool,  # noqa: FBT001
) -> None:
    checked = lot_check(Decimal(500), [Decimal(content)], lot_size=1)
    words = said_of_doubt(checked, Decimal("1.0200"), Decimal(2))
    assert words.startswith("Judged with a density of 1.02 g/ml.")
    assert ("cannot be told from the nominal 500.0 ml" in words) is doubtful


def test_the_mean_of_a_lot_weighed_as_a_whole_is_as_sure_as_scale_and_density() -> None:
    check = lot_check(Decimal(500), [Decimal(490), Decimal(530)], lot_size=2)
    percent, u = share_of_nominal(check, lot_size=2, uncertainty_ml=Decimal(5))
    assert (percent, u) == (Decimal(102), Decimal("0.5"))


def test_how_bottles_differ_counts_for_those_that_were_not_weighed() -> None:
    contents = [Decimal(490), Decimal(510)] * 15
    check = lot_check(Decimal(500), contents, lot_size=120)
    _, u = share_of_nominal(check, lot_size=120, uncertainty_ml=Decimal(0))
    # s² is 100·30/29 ml²; a quarter of the lot was weighed
    assert float(u) == pytest.approx((100 * 30 / 29 / 30 * 0.75) ** 0.5 / 5)


@given(st.lists(st.integers(400, 600), min_size=3, max_size=6), st.data())
def test_on_average_over_all_samples_the_square_is_that_of_their_means(
    lot: list[int], data: st.DataObject
) -> None:
    """What a finite lot takes off is exact: it is counted out over every sample."""
    size = data.draw(st.integers(2, len(lot)))
    samples = list(itertools.combinations([Decimal(one) for one in lot], size))
    limits = lot_check(Decimal(500), [Decimal(500)], lot_size=1)
    means = [statistics.mean(sample) for sample in samples]
    squares = [
        share_of_nominal(
            dataclasses.replace(
                limits,
                weighed=size,
                mean_ml=statistics.mean(sample),
                standard_deviation_ml=statistics.stdev(sample),
            ),
            lot_size=len(lot),
            uncertainty_ml=Decimal(0),
        )[1]
        ** 2
        for sample in samples
    ]
    of_means = statistics.pvariance(means) / 25  # ml² to percent² of 500 ml
    assert float(statistics.mean(squares)) == pytest.approx(float(of_means), abs=1e-9)


def test_a_share_of_nominal_needs_a_lot_as_large_as_the_sample() -> None:
    check = lot_check(Decimal(500), [Decimal(500)] * 2, lot_size=2)
    with pytest.raises(OutOfRangeError, match="than the lot has"):
        share_of_nominal(check, lot_size=1, uncertainty_ml=Decimal(1))
