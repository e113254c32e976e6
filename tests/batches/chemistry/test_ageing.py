"""What an opened container weighs, and what that says."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.chemistry.ageing import (
    KOH_PER_CO2,
    Uptake,
    Verdict,
    usable_after,
    weigh_against_book,
)
from batches.chemistry.errors import OutOfRangeError

pytestmark = pytest.mark.any_engine

MASSES = st.decimals(min_value=10, max_value=5000, places=1)
SHARES = st.decimals(min_value="0.4", max_value=1, places=3)


def seen(net: str, book: str = "1000", doubt: str = "1") -> Uptake:
    return weigh_against_book(
        net_g=Decimal(net),
        book_g=Decimal(book),
        expanded_uncertainty_g=Decimal(doubt),
    )


@pytest.mark.parametrize(
    ("net", "doubt", "verdict"),
    [
        ("1000", "1", Verdict.AGREES),
        ("1002", "1", Verdict.AGREES),  # 2 U and no more
        ("1002.1", "1", Verdict.HOLD_AND_RETEST),  # more than 2 U
        ("1003", "5", Verdict.AGREES),  # 0.3 % and no more
        ("1003.1", "5", Verdict.HOLD_AND_RETEST),  # more, though the scale doubts
        ("998", "1", Verdict.AGREES),
        ("997.9", "1", Verdict.UNLOGGED_LOSS),
        ("990", "5", Verdict.AGREES),  # a loss inside the doubt of the scale is none
    ],
)
def test_the_verdict_by_gain_and_doubt(net: str, doubt: str, verdict: Verdict) -> None:
    assert seen(net, doubt=doubt).verdict is verdict


def test_whether_the_scale_can_tell_is_said_apart() -> None:
    assert seen("1003.1", doubt="5").clear is False
    assert seen("1003.1", doubt="1").clear is True
    assert seen("990", doubt="1").clear is True


def test_the_gain_is_in_grams_and_in_percent_of_the_book() -> None:
    found = seen("505", "500")
    assert found.gain_g == 5
    assert found.percent == 1


def test_a_percent_of_water_or_of_carbon_dioxide() -> None:
    least, most = usable_after(usable_fraction=Decimal("0.9"), uptake=seen("1010"))
    assert most == pytest.approx(Decimal(900) / 1010)
    assert least == pytest.approx((Decimal(900) - KOH_PER_CO2 * 10) / 1010)


def test_a_container_that_lost_or_kept_its_mass_is_as_it_was() -> None:
    for net in ("1000", "990"):
        bounds = usable_after(usable_fraction=Decimal("0.9"), uptake=seen(net))
        assert bounds == (Decimal("0.9"), Decimal("0.9"))


def test_potash_cannot_be_worse_than_used_up() -> None:
    least, most = usable_after(
        usable_fraction=Decimal("0.5"), uptake=seen("1900", "1000")
    )
    assert least == 0
    assert most > 0


@given(MASSES, MASSES, SHARES)
def test_the_hydroxide_is_conserved_if_all_is_water(
    book: Decimal, gain: Decimal, share: Decimal
) -> None:
    found = seen(str(book + gain), str(book))
    least, most = usable_after(usable_fraction=share, uptake=found)
    assert most * (book + gain) == pytest.approx(share * book, rel=Decimal("1e-20"))
    assert 0 <= least < most < share


@given(MASSES, SHARES, st.decimals(min_value="0.01", max_value=10, places=2))
def test_bounds_do_not_depend_on_the_size_of_the_container(
    book: Decimal, share: Decimal, factor: Decimal
) -> None:
    one = usable_after(
        usable_fraction=share, uptake=seen(str(book * Decimal("1.02")), str(book))
    )
    other = usable_after(
        usable_fraction=share,
        uptake=seen(str(book * factor * Decimal("1.02")), str(book * factor)),
    )
    assert one == pytest.approx(other, rel=Decimal("1e-20"))


@pytest.mark.parametrize(
    ("net", "book", "doubt", "said"),
    [
        ("0", "1000", "1", "Check gross and tare"),
        ("-5", "1000", "1", "Check gross and tare"),
        ("5", "0", "1", "used up"),
        ("5", "5", "-1", "without a sign"),
    ],
)
def test_masses_that_say_nothing_are_refused(
    net: str, book: str, doubt: str, said: str
) -> None:
    with pytest.raises(OutOfRangeError, match=said):
        seen(net, book, doubt)


@pytest.mark.parametrize("share", ["0", "1.1"])
def test_a_share_that_is_none_is_refused(share: str) -> None:
    with pytest.raises(OutOfRangeError, match="Check the purity"):
        usable_after(usable_fraction=Decimal(share), uptake=seen("1010"))
