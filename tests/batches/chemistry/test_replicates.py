"""Several samples, one result, and how sure it is."""

from __future__ import annotations

import statistics
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.chemistry import titration
from batches.chemistry.errors import ChemistryError, OutOfRangeError
from batches.chemistry.replicates import (
    Bench,
    Determination,
    Kind,
    Sample,
    determine,
)

pytestmark = pytest.mark.any_engine

KOH = float(titration.KOH)
ROOT_3 = 3**0.5


def bench(**changes: Any) -> Bench:
    facts = {
        "concentration": Decimal("0.1"),
        "concentration_half_width": Decimal("0.0005"),
        "burette_half_width": Decimal("0.05"),
        "balance_uncertainty_g": Decimal("0.01"),
        **changes,
    }
    return Bench(**facts)


def sample(volume: str, *, mass: str = "10", **changes: Any) -> Sample:
    return Sample(mass_g=Decimal(mass), volume_ml=Decimal(volume), **changes)


def free(*volumes: str, **changes: Any) -> Determination:
    return determine(
        Kind.FREE_ALKALI, [sample(one) for one in volumes], bench(**changes)
    )


def test_the_result_is_the_mean_and_each_sample_keeps_its_own() -> None:
    found = free("2.0", "2.2")
    each = [
        titration.free_alkali(
            mass_g=Decimal(10), volume_ml=Decimal(one), concentration=Decimal("0.1")
        )
        for one in ("2.0", "2.2")
    ]
    assert list(found.values) == each
    assert found.value == sum(each) / 2
    assert found.counted == 2


def test_the_uncertainty_by_hand() -> None:
    found = free("2.0", "2.2", "2.1")
    values = [float(value) for value in found.values]
    mean = statistics.fmean(values)
    parts = [
        4.527 / 2 * statistics.stdev(values) / 3**0.5,  # GUM table G.2, 2 degrees
        mean * 0.0005 / ROOT_3 / 0.1,
        mean * 0.01 / 10,
        KOH / 10 * 0.1 / 10 * 0.05 / ROOT_3,
    ]
    by_hand = sum(part**2 for part in parts) ** 0.5
    assert float(found.standard_uncertainty) == pytest.approx(by_hand, rel=1e-4)
    assert float(found.standard_deviation or 0) == pytest.approx(
        statistics.stdev(values), rel=1e-12
    )


def test_a_third_sample_says_far_more_than_two() -> None:
    two, three = free("2.0", "2.1"), free("2.0", "2.1", "2.05")
    assert two.standard_uncertainty > 3 * three.standard_uncertainty


def test_one_sample_says_nothing_about_repeating() -> None:
    found = free("2.0")
    assert found.standard_deviation is None
    assert found.standard_uncertainty > 0
    assert found.counted == 1


def test_a_blank_is_a_second_reading_of_the_burette() -> None:
    without, with_blank = free("2.0"), free("2.5", blank_ml=Decimal("0.5"))
    assert with_blank.value == without.value
    assert with_blank.standard_uncertainty > without.standard_uncertainty


def test_what_all_samples_share_does_not_get_smaller_with_their_number() -> None:
    # the same sample four times: no scatter, and titrant and glass stay what they are
    assert free(*["2.0"] * 4).standard_uncertainty == pytest.approx(
        free("2.0").standard_uncertainty, rel=Decimal("1e-20")
    )


def test_free_alkali_of_nothing_is_still_uncertain() -> None:
    found = free("0", "0")
    assert found.value == 0
    assert found.standard_uncertainty > 0


def test_an_outlier_is_named_and_counts_all_the_same() -> None:
    found = free("2.00", "2.01", "2.00", "2.90")
    assert found.suspect == 3
    assert found.counted == 4
    assert found.value == sum(found.values) / 4


def test_a_sample_left_out_keeps_its_value_and_its_mark() -> None:
    kept = [sample(one) for one in ("2.00", "2.01", "2.00")]
    found = determine(Kind.FREE_ALKALI, [*kept, sample("2.90", counts=False)], bench())
    assert len(found.values) == 4
    assert found.counted == 3
    assert found.value == sum(found.values[:3]) / 3
    assert found.suspect == 3


def test_without_a_sample_that_counts_there_is_no_result() -> None:
    for samples in ([], [sample("2", counts=False)]):
        with pytest.raises(ChemistryError, match="Titrate at least one"):
            determine(Kind.FREE_ALKALI, samples, bench())


def test_a_burette_is_never_exact() -> None:
    with pytest.raises(OutOfRangeError, match="No burette is exact"):
        bench(burette_half_width=Decimal(0))


@pytest.mark.parametrize("name", ["concentration_half_width", "balance_uncertainty_g"])
def test_a_half_width_has_no_sign(name: str) -> None:
    with pytest.raises(OutOfRangeError, match="without a sign"):
        bench(**{name: Decimal(-1)})


def test_a_saponification_value_needs_its_blank() -> None:
    with pytest.raises(ChemistryError, match="needs a blank"):
        determine(Kind.SAPONIFICATION_VALUE, [sample("15", mass="1.5")], bench())


def test_a_saponification_value_with_its_uncertainty_by_hand() -> None:
    found = determine(
        Kind.SAPONIFICATION_VALUE,
        [sample("15", mass="1.5")],
        bench(
            concentration=Decimal("0.5"),
            blank_ml=Decimal(25),
            balance_uncertainty_g=Decimal("0.001"),
        ),
    )
    value = KOH * 0.5 * 10 / 1.5
    parts = [
        value * 0.0005 / ROOT_3 / 0.5,
        value * 0.001 / 1.5,
        KOH * 0.5 / 1.5 * 2**0.5 * 0.05 / ROOT_3,
    ]
    assert float(found.value) == pytest.approx(value)
    assert float(found.standard_uncertainty) == pytest.approx(
        sum(part**2 for part in parts) ** 0.5, rel=1e-12
    )
    assert found.carbonate is None


def test_an_acid_value_is_in_milligrams_per_gram() -> None:
    found = determine(Kind.ACID_VALUE, [sample("2")], bench())
    alkali = free("2")
    assert found.value == 10 * alkali.value
    assert found.standard_uncertainty == pytest.approx(
        10 * alkali.standard_uncertainty, rel=Decimal("1e-20")
    )


def potash(*pairs: tuple[str, str]) -> Determination:
    return determine(
        Kind.POTASH,
        [
            sample(first, mass="1.5", second_volume_ml=Decimal(total))
            for first, total in pairs
        ],
        bench(concentration=Decimal(1), balance_uncertainty_g=Decimal("0.001")),
    )


def test_potash_gives_hydroxide_and_carbonate_each_with_its_doubt() -> None:
    found = potash(("24.0", "24.2"), ("24.1", "24.3"))
    assert float(found.value) == pytest.approx(KOH * (23.8 + 23.9) / 2 / 15)
    assert float(found.carbonate or 0) == pytest.approx(138.2046 * 0.2 / 15)
    # the first reading enters twice into hydroxide: √5 burettes, and √2 for carbonate
    per_ml = 0.05 / ROOT_3 / 15
    assert found.carbonate_uncertainty is not None
    assert float(found.carbonate_uncertainty) > 138.2046 * per_ml * 2**0.5
    assert float(found.carbonate_uncertainty) == pytest.approx(
        138.2046 * per_ml * 2**0.5, rel=0.01
    )
    assert float(found.standard_uncertainty) > KOH * per_ml * 5**0.5


def test_potash_needs_both_end_points() -> None:
    with pytest.raises(ChemistryError, match="two end points"):
        determine(Kind.POTASH, [sample("24", mass="1.5")], bench())


@given(
    st.lists(st.decimals(min_value=1, max_value=9, places=2), min_size=1, max_size=4),
    st.decimals(min_value="0.5", max_value=4, places=2),
)
def test_sample_and_titrant_in_the_same_proportion_give_the_same_result(
    volumes: list[Decimal], factor: Decimal
) -> None:
    def found(scale: Decimal) -> Decimal:
        samples = [
            Sample(mass_g=10 * scale, volume_ml=volume * scale) for volume in volumes
        ]
        return determine(Kind.FREE_ALKALI, samples, bench()).value

    assert found(factor) == pytest.approx(found(Decimal(1)), rel=Decimal("1e-20"))
