"""Slips of unit at the bench are refused with the likely slip named."""

from __future__ import annotations

from decimal import Decimal

import pytest

from batches.chemistry.errors import OutOfRangeError
from batches.chemistry.replicates import Bench, Kind, Sample
from batches.chemistry.slips import check_bench, check_samples

pytestmark = pytest.mark.any_engine


def bench(
    strength: str = "0.1", half_width: str = "0.0005", burette: str = "0.05"
) -> Bench:
    return Bench(
        concentration=Decimal(strength),
        concentration_half_width=Decimal(half_width),
        burette_half_width=Decimal(burette),
        balance_uncertainty_g=Decimal("0.01"),
    )


def sample(mass_g: str, *, counts: bool = True) -> Sample:
    return Sample(mass_g=Decimal(mass_g), volume_ml=Decimal(1), counts=counts)


@pytest.mark.parametrize(
    ("strength", "half_width", "burette"),
    [
        ("0.005", "0", "0.05"),
        ("2", "0.1", "0.05"),
        ("0.1", "0.005", "0.5"),
    ],
)
def test_a_bench_at_the_bounds_is_taken(
    strength: str, half_width: str, burette: str
) -> None:
    check_bench(bench(strength, half_width, burette))


@pytest.mark.parametrize(
    ("strength", "half_width", "burette", "said"),
    [
        ("0.0049", "0", "0.05", "from 0.005 to 2"),
        ("2.01", "0", "0.05", "mmol/l"),
        ("0.1", "0.0051", "0.05", "not in percent"),
        ("0.1", "0.0005", "0.51", "printed on it"),
    ],
)
def test_a_bench_beyond_them_is_refused_with_the_slip(
    strength: str, half_width: str, burette: str, said: str
) -> None:
    with pytest.raises(OutOfRangeError, match=said):
        check_bench(bench(strength, half_width, burette))


@pytest.mark.parametrize(
    ("kind", "least", "most"),
    [
        (Kind.FREE_ALKALI, "1", "50"),
        (Kind.SAPONIFICATION_VALUE, "0.2", "20"),
        (Kind.ACID_VALUE, "0.2", "20"),
        (Kind.POTASH, "0.2", "20"),
    ],
)
def test_each_kind_has_its_range_of_masses(kind: Kind, least: str, most: str) -> None:
    check_samples(kind, [sample(least), sample(most)])
    for mass in (Decimal(least) - Decimal("0.001"), Decimal(most) + Decimal("0.001")):
        with pytest.raises(OutOfRangeError, match=r"Sample 2 weighs .* milligrams"):
            check_samples(kind, [sample(most), sample(str(mass))])


def test_ten_kilograms_for_ten_grams_are_refused() -> None:
    with pytest.raises(OutOfRangeError, match="Sample 1 weighs 10000 g; for this"):
        check_samples(Kind.FREE_ALKALI, [sample("10000")])


def test_no_sample_weighs_more_than_the_scale_holds() -> None:
    check_samples(Kind.FREE_ALKALI, [sample("30")], capacity_g=Decimal(30))
    with pytest.raises(OutOfRangeError, match="the scale holds 30 g at most"):
        check_samples(Kind.FREE_ALKALI, [sample("30.1")], capacity_g=Decimal(30))
    with pytest.raises(OutOfRangeError, match="which scale it was"):
        check_samples(
            Kind.FREE_ALKALI,
            [sample("5"), sample("31", counts=False)],
            capacity_g=Decimal(30),
        )


def test_a_sample_left_out_may_have_been_too_large() -> None:
    check_samples(Kind.POTASH, [sample("1.5"), sample("60", counts=False)])
