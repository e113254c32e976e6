"""What of the potash can make soap."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.chemistry.errors import ChemistryError, OutOfRangeError
from batches.chemistry.potash import HYDROXIDE, TOTAL_ALKALI, usable_fraction


def percents(low: str, high: str) -> st.SearchStrategy[Decimal]:
    return st.decimals(min_value=low, max_value=high, places=2)


def test_an_assay_that_counts_hydroxide_only_is_taken_as_it_is() -> None:
    fraction = usable_fraction(
        assay_percent=Decimal("90.2"), basis=HYDROXIDE, carbonate_percent=Decimal(2)
    )
    assert fraction == Decimal("0.902")


def test_carbonate_is_taken_out_of_total_alkali() -> None:
    fraction = usable_fraction(
        assay_percent=Decimal(90), basis=TOTAL_ALKALI, carbonate_percent=Decimal(2)
    )
    # 2 % K2CO3 stand for 2 · 112.2106 / 138.2046 = 1.62383 % KOH
    assert fraction == pytest.approx(Decimal("0.8837617"), abs=Decimal("1e-7"))


def test_without_carbonate_both_bases_say_the_same() -> None:
    for basis in (HYDROXIDE, TOTAL_ALKALI):
        assert usable_fraction(assay_percent=Decimal(88), basis=basis) == Decimal(
            "0.88"
        )


@given(percents("50", "90"), percents("0", "8"), percents("0.01", "2"))
def test_more_carbonate_leaves_less_and_never_more_than_the_assay(
    assay: Decimal, carbonate: Decimal, more: Decimal
) -> None:
    def usable(percent: Decimal) -> Decimal:
        return usable_fraction(
            assay_percent=assay, basis=TOTAL_ALKALI, carbonate_percent=percent
        )

    assert usable(carbonate + more) < usable(carbonate) <= assay / 100


@pytest.mark.parametrize("assay", ["0", "-1", "100.01", "900"])
def test_an_assay_no_potash_has_is_refused(assay: str) -> None:
    with pytest.raises(OutOfRangeError, match=f"An assay of {assay} % is not"):
        usable_fraction(assay_percent=Decimal(assay), basis=HYDROXIDE)


def test_pure_potash_is_possible() -> None:
    assert usable_fraction(assay_percent=Decimal(100), basis=HYDROXIDE) == 1


@pytest.mark.parametrize("carbonate", ["-0.1", "100.5"])
def test_a_carbonate_content_no_potash_has_is_refused(carbonate: str) -> None:
    with pytest.raises(OutOfRangeError, match="carbonate content"):
        usable_fraction(
            assay_percent=Decimal(90),
            basis=TOTAL_ALKALI,
            carbonate_percent=Decimal(carbonate),
        )


def test_potash_that_is_all_carbonate_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="makes no soap"):
        usable_fraction(
            assay_percent=Decimal(40), basis=TOTAL_ALKALI, carbonate_percent=Decimal(60)
        )


def test_hydroxide_and_carbonate_are_never_more_than_all() -> None:
    with pytest.raises(OutOfRangeError, match="more than 100 %"):
        usable_fraction(
            assay_percent=Decimal(98), basis=HYDROXIDE, carbonate_percent=Decimal(3)
        )
    exactly = usable_fraction(
        assay_percent=Decimal(97), basis=HYDROXIDE, carbonate_percent=Decimal(3)
    )
    assert exactly == Decimal("0.97")


def test_an_unknown_basis_is_refused_rather_than_guessed() -> None:
    with pytest.raises(ChemistryError, match="total alkali, or hydroxide only"):
        usable_fraction(assay_percent=Decimal(90), basis="KOH")


def test_very_poor_potash_is_still_potash() -> None:
    usable = usable_fraction(assay_percent=Decimal("0.5"), basis=HYDROXIDE)
    assert usable == Decimal("0.005")
