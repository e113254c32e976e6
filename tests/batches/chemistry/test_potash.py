"""What of the potash can make soap."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.chemistry.constants import KOH_PER_K2CO3
from batches.chemistry.errors import ChemistryError, OutOfRangeError
from batches.chemistry.estimates import NORMAL, RECTANGULAR
from batches.chemistry.potash import (
    HYDROXIDE,
    TOTAL_ALKALI,
    Assay,
    usable_fraction,
    usable_share,
)


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


# ------------------------------------------------ what is known about it

ROOT_3 = Decimal(3).sqrt()


def near(value: Decimal, places: str = "1e-12") -> object:
    return pytest.approx(value, abs=Decimal(places))


def test_a_minimum_is_taken_as_the_middle_of_two_percent_above_it() -> None:
    share = usable_share(Assay(percent=Decimal(90), basis=HYDROXIDE, is_minimum=True))
    assert share.value == Decimal("0.91")
    assert share.standard_uncertainty == near(Decimal("0.01") / ROOT_3)
    assert share.distribution == RECTANGULAR
    assert "the middle of 90 to 92 %" in share.words
    assert "would overdose alkali" in share.words


def test_a_minimum_never_reaches_above_what_is_possible() -> None:
    share = usable_share(
        Assay(
            percent=Decimal(98),
            basis=HYDROXIDE,
            is_minimum=True,
            carbonate_percent=Decimal(1),
        )
    )
    assert share.value == Decimal("0.985")  # between 98 and 99
    whole = usable_share(Assay(percent=Decimal(100), basis=HYDROXIDE, is_minimum=True))
    assert whole.value == 1
    assert whole.standard_uncertainty == 0


def test_the_ceiling_of_total_alkali_leaves_room_for_its_carbonate() -> None:
    carbonate = Decimal(2)
    ceiling = 100 - carbonate * (1 - KOH_PER_K2CO3)
    share = usable_share(
        Assay(
            percent=Decimal(99),
            basis=TOTAL_ALKALI,
            is_minimum=True,
            carbonate_percent=carbonate,
        )
    )
    middle = (99 + ceiling) / 2
    assert share.value == near((middle - carbonate * KOH_PER_K2CO3) / 100)


def test_a_minimum_with_a_stated_half_width_is_less_sure_and_no_lower() -> None:
    share = usable_share(
        Assay(
            percent=Decimal(90),
            basis=HYDROXIDE,
            is_minimum=True,
            half_width=Decimal(1),
        )
    )
    assert share.value == Decimal("0.91")
    assert share.standard_uncertainty == near(Decimal(2).sqrt() / ROOT_3 / 100)
    assert share.distribution == NORMAL  # two rectangles of one size are none
    assert "± 1 % as stated" in share.words


def test_the_stated_half_width_counts_as_a_rectangle() -> None:
    share = usable_share(
        Assay(percent=Decimal(90), basis=HYDROXIDE, half_width=Decimal("0.3"))
    )
    assert share.value == Decimal("0.9")
    assert share.standard_uncertainty == near(Decimal("0.003") / ROOT_3)
    assert "90 ± 0.3 % (as stated)" in share.words


def test_without_one_half_a_percent_is_taken_and_said_to_be_a_habit() -> None:
    share = usable_share(Assay(percent=Decimal(90), basis=HYDROXIDE))
    assert share.standard_uncertainty == near(Decimal("0.005") / ROOT_3)
    assert "no ± stated, common practice" in share.words


def test_carbonate_that_is_stated_is_taken_off() -> None:
    share = usable_share(
        Assay(
            percent=Decimal(90), basis=TOTAL_ALKALI, carbonate_percent=Decimal("0.50")
        )
    )
    assert share.value == near((90 - Decimal("0.5") * KOH_PER_K2CO3) / 100)
    assert "carbonate 0.5 %" in share.words


def test_carbonate_that_is_not_stated_may_be_anything_up_to_the_usp_limit() -> None:
    share = usable_share(Assay(percent=Decimal(85), basis=TOTAL_ALKALI))
    assert share.value == near((85 - Decimal("1.75") * KOH_PER_K2CO3) / 100)
    from_carbonate = Decimal("1.75") * KOH_PER_K2CO3 / ROOT_3 / 100
    from_assay = Decimal("0.005") / ROOT_3
    both = (from_carbonate**2 + from_assay**2).sqrt()
    assert share.standard_uncertainty == near(both)
    assert "carbonate not stated" in share.words
    assert "middle of 0 to 3.5 %" in share.words
    # the true share, with none of it or all of it, lies within two standard deviations
    for carbonate in (Decimal(0), Decimal("3.5")):
        truth = (85 - carbonate * KOH_PER_K2CO3) / 100
        assert abs(truth - share.value) < 2 * share.standard_uncertainty


def test_none_stated_is_not_the_same_as_none_there() -> None:
    none_there = usable_share(
        Assay(percent=Decimal(85), basis=TOTAL_ALKALI, carbonate_percent=Decimal(0))
    )
    assert none_there.value == Decimal("0.85")


def test_carbonate_does_not_touch_an_assay_of_hydroxide_only() -> None:
    without, with_it = (
        usable_share(
            Assay(percent=Decimal(90), basis=HYDROXIDE, carbonate_percent=carbonate)
        )
        for carbonate in (None, Decimal(2))
    )
    assert without.value == with_it.value
    assert without.standard_uncertainty == with_it.standard_uncertainty
    assert "carbonate 2 %" in with_it.words


def test_what_no_potash_can_be_is_refused_here_too() -> None:
    with pytest.raises(OutOfRangeError, match="An assay of 900 %"):
        usable_share(Assay(percent=Decimal(900), basis=HYDROXIDE))
    with pytest.raises(ChemistryError, match="hydroxide only"):
        usable_share(Assay(percent=Decimal(90), basis=""))
    with pytest.raises(OutOfRangeError, match="more than 100 %"):
        usable_share(
            Assay(percent=Decimal(99), basis=HYDROXIDE, carbonate_percent=Decimal(2))
        )
    with pytest.raises(OutOfRangeError, match="all carbonate"):
        usable_share(Assay(percent=Decimal(1), basis=TOTAL_ALKALI))


@pytest.mark.parametrize("half_width", ["0", "-1", "5.01"])
def test_a_half_width_no_certificate_has_is_refused(half_width: str) -> None:
    with pytest.raises(OutOfRangeError, match="on an assay is not possible"):
        usable_share(
            Assay(percent=Decimal(90), basis=HYDROXIDE, half_width=Decimal(half_width))
        )


@given(
    st.builds(
        Assay,
        percent=percents("40", "96"),
        basis=st.sampled_from([TOTAL_ALKALI, HYDROXIDE]),
        is_minimum=st.booleans(),
    )
)
def test_the_share_lies_between_nothing_and_all_and_is_never_certain(
    assay: Assay,
) -> None:
    share = usable_share(assay)
    assert 0 < share.value <= 1
    assert share.standard_uncertainty > 0


@given(percents("40", "90"), percents("0.01", "5"))
def test_a_better_assay_gives_more_and_all_shifts_alike(
    percent: Decimal, more: Decimal
) -> None:
    for minimum in (False, True):
        low, high = (
            usable_share(Assay(percent=one, basis=HYDROXIDE, is_minimum=minimum))
            for one in (percent, percent + more)
        )
        assert high.value - low.value == near(more / 100)
