"""Mass in, mass out."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.chemistry.errors import OutOfRangeError
from batches.chemistry.yields import (
    LossSplit,
    percentage_yield,
    split_losses,
    theoretical_yield,
    yield_variance_percent,
)

GRAMS = st.integers(1, 10**8).map(lambda mg: Decimal(mg) / 1000)


@given(st.lists(st.integers(-(10**8), 10**8)))
def test_all_that_went_in_is_the_theoretical_yield_to_the_milligram(
    charges: list[int],
) -> None:
    total = theoretical_yield(Decimal(mg) / 1000 for mg in charges)
    assert total * 1000 == sum(charges)


@given(GRAMS)
def test_what_came_out_whole_is_a_hundred_percent(mass: Decimal) -> None:
    assert percentage_yield(mass, mass) == 100
    assert yield_variance_percent(mass, mass) == 0


@given(GRAMS, GRAMS)
def test_variance_is_above_zero_only_if_more_came_out_than_went_in(
    actual: Decimal, theoretical: Decimal
) -> None:
    variance = yield_variance_percent(actual, theoretical)
    assert (variance > 0) == (actual > theoretical)
    assert (variance < 0) == (actual < theoretical)
    share = percentage_yield(actual, theoretical)
    assert share == pytest.approx(variance + 100, rel=Decimal("1e-20"))
    assert share == pytest.approx(actual / theoretical * 100, rel=Decimal("1e-20"))


@given(GRAMS, GRAMS, st.integers(2, 1000))
def test_variance_does_not_depend_on_the_unit(
    actual: Decimal, theoretical: Decimal, times: int
) -> None:
    assert yield_variance_percent(
        actual * times, theoretical * times
    ) == yield_variance_percent(actual, theoretical)


def test_scenario_24_a_yield_of_103_percent_shows_as_3_above() -> None:
    assert percentage_yield(Decimal(1648), Decimal(1600)) == 103
    assert yield_variance_percent(Decimal(1648), Decimal(1600)) == 3


@pytest.mark.parametrize("theoretical", [0, -5])
def test_nothing_weighed_in_has_no_yield(theoretical: int) -> None:
    for function in (percentage_yield, yield_variance_percent):
        with pytest.raises(OutOfRangeError, match="Nothing was weighed in"):
            function(Decimal(5), Decimal(theoretical))


LOSSES = st.integers(0, 10**8).map(lambda mg: Decimal(mg) / 1000)


@given(GRAMS, LOSSES, LOSSES, st.none() | LOSSES, LOSSES)
def test_whatever_happened_the_parts_add_up_to_what_went_in(
    put_in: Decimal,
    came_out: Decimal,
    known: Decimal,
    evaporated: Decimal | None,
    water: Decimal,
) -> None:
    split = split_losses(
        put_in_g=put_in,
        came_out_g=came_out,
        known_g=known,
        evaporated_g=evaporated,
        water_g=water,
    )
    explained = split.came_out + split.known + (split.evaporated or 0) + split.either
    assert explained + split.unexplained == put_in
    assert (split.evaporated or 0) + split.either <= water  # no more can boil off
    assert (split.evaporated is None) == (evaporated is None)
    assert min(split.either, split.of_product - known) >= 0


def kilogram(
    *, out: int, known: int = 0, evaporated: int | None = None, water: int = 300
) -> LossSplit:
    """Return the split of a pot of 1000 g."""
    return split_losses(
        put_in_g=Decimal(1000),
        came_out_g=Decimal(out),
        known_g=Decimal(known),
        evaporated_g=None if evaporated is None else Decimal(evaporated),
        water_g=Decimal(water),
    )


def parts(split: LossSplit) -> list[Decimal | None]:
    """Return evaporated, either and unexplained."""
    return [split.evaporated, split.either, split.unexplained]


def test_without_weighing_it_evaporation_and_loss_stay_together() -> None:
    split = kilogram(out=950, known=10)
    assert parts(split) == [None, 40, 0]
    assert split.of_product == 10


def test_more_than_the_water_there_was_is_unexplained_for_certain() -> None:
    split = kilogram(out=600, known=10, water=300)
    assert parts(split) == [None, 300, 90]
    assert split.unexplained_percent == 9
    assert split.of_product == 100


def test_a_weighed_evaporation_leaves_the_rest_unexplained() -> None:
    split = kilogram(out=900, known=10, evaporated=60)
    assert parts(split) == [60, 0, 30]
    assert split.of_product == 25  # the unexplained may have been water or paste


def test_an_evaporation_beyond_the_water_counts_no_further_than_it() -> None:
    assert parts(kilogram(out=600, evaporated=390, water=300)) == [300, 0, 100]


def test_more_out_than_in_shows_as_below_zero() -> None:
    split = kilogram(out=1030)
    assert parts(split) == [None, 0, -30]
    assert split.unexplained_percent == -3
    assert split.of_product == 0


@pytest.mark.parametrize("name", ["came_out_g", "known_g", "evaporated_g", "water_g"])
def test_masses_below_zero_are_refused(name: str) -> None:
    facts = {
        "came_out_g": Decimal(1),
        "known_g": Decimal(0),
        "evaporated_g": Decimal(0),
        "water_g": Decimal(0),
    }
    with pytest.raises(OutOfRangeError, match="below zero"):
        split_losses(put_in_g=Decimal(1), **{**facts, name: Decimal(-1)})


def test_nothing_in_has_nothing_missing() -> None:
    with pytest.raises(OutOfRangeError, match="nothing can be missing"):
        split_losses(
            put_in_g=Decimal(0),
            came_out_g=Decimal(0),
            known_g=Decimal(0),
            evaporated_g=None,
            water_g=Decimal(0),
        )
