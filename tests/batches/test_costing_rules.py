"""What a batch and a bottle cost: worked by hand, and laws that hold for any figures.

Outside check: the rule itself, (Σ lot unit cost × actual mass + other costs)/good
bottles, is that of the requirements, C24; the figures below were worked with pencil.
"""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.costing import (
    NOTHING,
    Bought,
    Cost,
    CostError,
    Made,
    cost_drawn,
    cost_of_all,
    parts_of,
    per_bottle,
    rest_of,
    rounded,
    shares,
    that_add_up,
)

pytestmark = pytest.mark.any_engine

KG = 1_000_000
OIL = Bought(code="oil", paid=2400, received_mg=10 * KG)  # 2.40 a kilogram
POTASH = Bought(code="potash", paid=1800, received_mg=3 * KG)  # 6.00 a kilogram
WATER = Bought(code="water", paid=0, received_mg=30 * KG)
LOTS = {1: OIL, 2: POTASH, 3: WATER}


def test_a_cook_and_its_dilution_worked_by_hand() -> None:
    """2 kg oil 4.80, 0.4 kg potash 2.40, water 0, gas 0.90: 8.10 for 3 kg of paste.

    1 kg of the paste into a dilution is 2.70, with half an hour at 6.00 it is 8.70; 2.5
    kg come out. Filled with 2 kg of them, four fifths: 6.96. Twelve bottles with caps
    and labels for 5.04: 12.00, and with two of them broken 1.20 each of ten.
    """
    cook = Made(
        code="cook",
        drawn={1: 2 * KG, 2: 400_000, 3: 840_000},
        spent=90,
        came_out_mg=3 * KG,
    )
    thin = Made(
        code="thin", drawn={10: KG, 3: 1_500_000}, spent=600, came_out_mg=2_500_000
    )
    costs = cost_of_all(LOTS, {11: thin, 10: cook})
    assert costs[10].amount == 810
    assert costs[11].amount == 870
    filled = costs[11].part(2 * KG, 2_500_000)
    assert filled.amount == 696
    bottled = filled + Cost(amount=Fraction(504))
    assert per_bottle(bottled, 10).amount == 120
    assert not per_bottle(bottled, 10).is_least


def test_a_rework_brings_the_cost_of_the_rejected_batch_along() -> None:
    """All 3 kg of a paste for 8.10 and 0.1 kg of oil for 0.24 make 8.34."""
    bad = Made(code="bad", drawn={1: 2 * KG, 2: 400_000}, spent=90, came_out_mg=3 * KG)
    again = Made(code="again", drawn={10: 3 * KG, 1: 100_000}, came_out_mg=3 * KG)
    costs = cost_of_all(LOTS, {10: bad, 11: again})
    assert costs[11].amount == 834


def test_losses_are_carried_by_what_came_out() -> None:
    """The same money in 2 kg instead of 3: half the paste is half of the cost."""
    cook = Made(code="cook", drawn={1: 3 * KG}, came_out_mg=2 * KG)
    half = Made(code="half", drawn={10: KG}, came_out_mg=KG)
    assert cost_of_all(LOTS, {10: cook, 11: half})[11].amount == 360


def test_an_unknown_price_makes_all_that_follows_the_least_it_can_be() -> None:
    lots = {**LOTS, 2: Bought(code="L26-0002", paid=None, received_mg=3 * KG)}
    cook = Made(code="cook", drawn={1: KG, 2: 200_000}, came_out_mg=KG)
    thin = Made(code="thin", drawn={10: KG}, came_out_mg=KG)
    costs = cost_of_all(lots, {10: cook, 11: thin})
    assert costs[11] == Cost(amount=Fraction(240), unknown=frozenset({"L26-0002"}))
    assert costs[11].is_least


def test_what_was_drawn_before_its_source_was_weighed_is_unknown() -> None:
    cook = Made(code="cook", drawn={1: KG})
    thin = Made(code="thin", drawn={10: KG})
    costs = cost_of_all(LOTS, {10: cook, 11: thin})
    assert costs[11] == Cost(amount=Fraction(0), unknown=frozenset({"cook"}))


def test_nothing_is_divided_among_nothing() -> None:
    with pytest.raises(CostError, match="Nothing came out"):
        NOTHING.part(1, 0)
    with pytest.raises(CostError, match="No good bottle"):
        per_bottle(Cost(amount=Fraction(1)), 0)
    with pytest.raises(CostError, match="nothing to share it among"):
        shares(5, [0, 0])


def test_halves_are_rounded_away_from_zero() -> None:
    assert [rounded(Fraction(n, 2)) for n in (-3, -1, 1, 3, 5)] == [-2, -1, 1, 2, 3]


def test_the_hundredth_that_is_left_goes_to_the_largest_remainder() -> None:
    """10.00 by 3 : 3 : 1 is 4.2857…, 4.2857…, 1.4286…: the last has the largest rest.

    Rounded down they make 9.98. The remainders are 5/7, 5/7 and 6/7 of a hundredth.
    """
    assert shares(1000, [3, 3, 1]) == [429, 428, 143]


MONEY = st.integers(0, 10**9)
MASSES = st.lists(st.integers(1, 10**9), min_size=1, max_size=9)


@given(paid=MONEY, masses=MASSES)
def test_the_shares_of_all_who_drew_from_a_lot_add_up_to_what_was_paid(
    paid: int, masses: list[int]
) -> None:
    lot = Bought(code="lot", paid=paid, received_mg=sum(masses))
    batches = {
        place: Made(code=str(place), drawn={0: mass})
        for place, mass in enumerate(masses, start=1)
    }
    costs = cost_of_all({0: lot}, batches)
    assert sum(cost.amount for cost in costs.values()) == paid
    assert sum(shares(paid, masses)) == paid


@given(st.lists(st.fractions(0, 10**6), max_size=9))
def test_parts_that_are_shown_add_up_and_none_is_a_whole_hundredth_off(
    amounts: list[Fraction],
) -> None:
    shown = that_add_up(amounts)
    assert sum(shown) == rounded(sum(amounts, Fraction(0)))
    assert all(
        abs(one - amount) < 1 for one, amount in zip(shown, amounts, strict=True)
    )


@given(paid=MONEY, spent=MONEY, pasted=MASSES, drawn=st.integers(1, 10**6), more=MONEY)
def test_money_is_neither_made_nor_lost_on_its_way_through_the_batches(
    paid: int, spent: int, pasted: list[int], drawn: int, more: int
) -> None:
    """A paste drawn wholly into dilutions: they hold all that was paid and spent."""
    lot = Bought(code="lot", paid=paid, received_mg=drawn)
    paste = Made(code="paste", drawn={0: drawn}, spent=spent, came_out_mg=sum(pasted))
    thin = {
        place: Made(code=str(place), drawn={100: mass}, spent=more)
        for place, mass in enumerate(pasted, start=1)
    }
    costs = cost_of_all({0: lot}, {**thin, 100: paste})
    assert sum(costs[key].amount for key in thin) == paid + spent + more * len(thin)
    for key, made in thin.items():
        parts = parts_of(made, {0: lot}, {**thin, 100: paste}, costs)
        whole = sum((part.amount for part in parts.values()), Fraction(more))
        assert whole == costs[key].amount


@given(came_out=st.integers(1, 10**9), went=MASSES, on_hand=st.integers(0, 10**9))
def test_what_is_here_and_what_is_lost_are_the_rest_and_their_shares_the_whole(
    came_out: int, went: list[int], on_hand: int
) -> None:
    """Whatever was filled, drawn, disposed of or counted: the money adds up exactly."""
    went = [mass for at, mass in enumerate(went) if sum(went[: at + 1]) <= came_out]
    here, lost = rest_of(came_out, sum(went), on_hand)
    assert 0 <= here <= on_hand
    assert lost >= 0
    assert sum(went) + here + lost == came_out
    whole = Cost(amount=Fraction(1999))
    shares_of_it = [whole.part(mass, came_out).amount for mass in (*went, here, lost)]
    assert sum(shares_of_it) == 1999
    if sum(went) + on_hand <= came_out:
        assert here == on_hand


def test_a_chain_of_a_thousand_batches_is_walked_without_recursion() -> None:
    chain = {1: Made(code="1", drawn={0: 1}, came_out_mg=1)} | {
        n: Made(code=str(n), drawn={n - 1: 1}, spent=1, came_out_mg=1)
        for n in range(2, 1501)
    }
    lot = Bought(code="lot", paid=7, received_mg=1)
    assert cost_of_all({0: lot}, chain)[1500].amount == 7 + 1499


def test_a_lot_costs_by_mass_from_what_was_received() -> None:
    assert cost_drawn(OIL, 250_000).amount == 60
