"""How many bottles, and whether they hold what the label says."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.chemistry.errors import ChemistryError, OutOfRangeError
from batches.chemistry.net_content import (
    bottles_from_mass,
    content_ml,
    fill_limits,
    lot_check,
    sampling_plan,
    scale_is_fit,
    tolerable_negative_error,
)

pytestmark = pytest.mark.any_engine

NOMINALS = st.decimals(min_value=5, max_value=10_000, places=1)
HALF_LITRE = Decimal(500)


def ml(*values: str | int) -> list[Decimal]:
    return [Decimal(value) for value in values]


@given(NOMINALS, NOMINALS)
def test_a_larger_bottle_never_has_a_smaller_error(
    one: Decimal, other: Decimal
) -> None:
    small, large = sorted((one, other))
    assert tolerable_negative_error(small) <= tolerable_negative_error(large)


@given(NOMINALS)
def test_an_error_is_rounded_up_to_a_tenth(nominal: Decimal) -> None:
    error = tolerable_negative_error(nominal)
    assert error == error.quantize(Decimal("0.1"))
    limits = fill_limits(nominal)
    assert limits.nominal - limits.first == limits.first - limits.second == error
    assert limits.measuring_error * 5 == error


@pytest.mark.parametrize("boundary", [50, 100, 200, 300, 500, 1000])
def test_at_a_boundary_both_rows_agree(boundary: int) -> None:
    at = tolerable_negative_error(Decimal(boundary))
    just_above = tolerable_negative_error(Decimal(boundary) + Decimal("0.001"))
    assert 0 <= just_above - at <= Decimal("0.1")


@pytest.mark.parametrize("nominal", ["4.999", "0", "-5", "10000.001"])
def test_outside_five_millilitres_to_ten_litres_there_is_no_rule(nominal: str) -> None:
    with pytest.raises(OutOfRangeError, match="from 5 ml to 10 l"):
        tolerable_negative_error(Decimal(nominal))


@given(
    st.decimals(min_value=0, max_value=10**6, places=1),
    NOMINALS,
    st.decimals(min_value="0.9", max_value="1.1", places=3),
    st.decimals(min_value=0, max_value=100, places=1),
)
def test_bottles_and_rest_are_what_there_was(
    mass: Decimal, nominal: Decimal, density: Decimal, heel: Decimal
) -> None:
    count, rest = bottles_from_mass(mass, nominal, density, heel_g=heel)
    assert count * nominal * density + rest == max(mass - heel, Decimal(0))
    assert 0 <= rest < nominal * density


def test_an_overfill_takes_its_share() -> None:
    plain = bottles_from_mass(Decimal(1000), Decimal(250), Decimal(1))
    generous = bottles_from_mass(
        Decimal(1000), Decimal(250), Decimal(1), overfill_g=Decimal(1)
    )
    assert (plain, generous) == ((4, Decimal(0)), (3, Decimal(247)))


@pytest.mark.parametrize(
    "facts",
    [
        {"mass_g": Decimal(-1)},
        {"heel_g": Decimal(-1)},
        {"overfill_g": Decimal(-1)},
        {"nominal_ml": Decimal(0)},
        {"density": Decimal(0)},
    ],
)
def test_bottles_of_nothing_are_refused(facts: dict[str, Decimal]) -> None:
    usual = {"mass_g": Decimal(9), "nominal_ml": Decimal(5), "density": Decimal(1)}
    bottles_from_mass(**usual)  # control
    with pytest.raises(OutOfRangeError):
        bottles_from_mass(**{**usual, **facts})


def test_a_content_is_mass_by_density() -> None:
    assert content_ml(Decimal("506.94"), Decimal("1.02")) == 497
    for net, density in ((-1, 1), (1, 0)):
        with pytest.raises(OutOfRangeError):
            content_ml(Decimal(net), Decimal(density))


def test_a_scale_fits_up_to_a_fifth_of_the_error() -> None:
    density = Decimal("1.25")  # T(500) = 15 ml, a fifth 3 ml, 3.75 g
    assert scale_is_fit(HALF_LITRE, density, Decimal("3.75"))
    assert not scale_is_fit(HALF_LITRE, density, Decimal("3.76"))
    with pytest.raises(OutOfRangeError, match="divide by 100"):
        scale_is_fit(HALF_LITRE, Decimal(0), Decimal(1))


# ------------------------------------------------------------------ small lots


def test_a_mean_exactly_on_the_label_is_enough() -> None:
    check = lot_check(HALF_LITRE, ml(490, 510), lot_size=2)
    assert check.accepted
    assert check.mean_ml == check.least_mean_ml == 500
    assert "none of them is below 485.0 ml" in check.sentence


def test_a_mean_a_hair_below_is_not_and_the_sentence_shows_the_hair() -> None:
    check = lot_check(HALF_LITRE, ml("499.99", "500"), lot_size=2)
    assert not check.accepted
    assert "is 499.9 ml, below 500.0 ml" in check.sentence


def test_a_bottle_on_the_first_limit_is_not_below_it() -> None:
    assert lot_check(HALF_LITRE, ml(485, 515), lot_size=2).accepted
    short = lot_check(HALF_LITRE, ml("484.9", 520), lot_size=2)
    assert (short.below_first, short.accepted) == (1, False)
    assert "1 of them holds less than 485.0 ml, and at most 0 may" in short.sentence


def test_no_bottle_may_be_below_the_second_limit() -> None:
    contents = [*ml(*[501] * 59), Decimal("469.9")]
    check = lot_check(HALF_LITRE, contents, lot_size=60)
    # one of sixty may be below the first limit; below the second none
    assert (check.below_first, check.below_second, check.accepted) == (1, 1, False)
    assert "less than 470.0 ml, and none may" in check.sentence
    good = lot_check(HALF_LITRE, [*ml(*[501] * 59), Decimal(470)], lot_size=60)
    assert good.accepted
    assert "1 of them below 485.0 ml, which is few enough" in good.sentence


@pytest.mark.parametrize(("size", "allowed"), [(1, 0), (49, 0), (50, 1), (99, 1)])
def test_two_in_a_hundred_may_fall_short(size: int, allowed: int) -> None:
    assert sampling_plan(size, size).allowed == allowed


@given(st.lists(st.integers(400, 600), min_size=1, max_size=99))
def test_adding_to_every_bottle_never_makes_a_good_lot_bad(contents: list[int]) -> None:
    before = lot_check(HALF_LITRE, ml(*contents), lot_size=len(contents))
    after = lot_check(
        HALF_LITRE,
        [content + Decimal(5) for content in ml(*contents)],
        lot_size=len(contents),
    )
    assert after.accepted or not before.accepted


def test_one_bottle_has_no_spread() -> None:
    check = lot_check(HALF_LITRE, ml(500), lot_size=1)
    assert check.accepted
    assert check.standard_deviation_ml == 0


# ------------------------------------------------------------------ samples


@pytest.mark.parametrize(("size", "weighed"), [(24, 23), (99, 98), (5, 6), (5, 0)])
def test_a_small_lot_is_weighed_as_a_whole(size: int, weighed: int) -> None:
    with pytest.raises(ChemistryError):
        sampling_plan(size, weighed)


@pytest.mark.parametrize(
    ("size", "weighed", "sample", "allowed", "factor"),
    [
        (100, 30, 30, 1, "0.503"),
        (500, 59, 30, 1, "0.503"),
        (500, 60, 60, 4, "0.503"),
        (501, 50, 50, 2, "0.379"),
        (3200, 100, 100, 6, "0.379"),
        (3201, 80, 80, 3, "0.379"),
        (3201, 160, 160, 8, "0.379"),
        (120, 120, 120, 2, "0"),
    ],
)
def test_the_plan_follows_lot_and_sample(
    size: int, weighed: int, sample: int, allowed: int, factor: str
) -> None:
    plan = sampling_plan(size, weighed)
    assert (plan.sample, plan.allowed, plan.factor) == (
        sample,
        allowed,
        Decimal(factor),
    )


@pytest.mark.parametrize(("size", "weighed"), [(100, 29), (501, 49), (3201, 79)])
def test_too_small_a_sample_is_refused(size: int, weighed: int) -> None:
    with pytest.raises(ChemistryError, match="Or weigh every one"):
        sampling_plan(size, weighed)


def test_opened_bottles_have_a_plan_of_their_own() -> None:
    plan = sampling_plan(100, 20, destructive=True)
    assert (plan.sample, plan.allowed, plan.factor) == (20, 1, Decimal("0.640"))
    with pytest.raises(ChemistryError):
        sampling_plan(100, 19, destructive=True)


def test_a_sample_may_miss_the_mean_by_chance_alone() -> None:
    # Fifteen of 492 and fifteen of 506: mean 499, s 7.12, so 496.4 is enough.
    contents = ml(*[492, 506] * 15)
    check = lot_check(HALF_LITRE, contents, lot_size=400)
    assert check.mean_ml == 499
    assert check.accepted
    assert not lot_check(HALF_LITRE, contents, lot_size=30).accepted
    low = lot_check(HALF_LITRE, [c - 3 for c in contents], lot_size=400)
    assert not low.accepted


def test_a_doubtful_first_sample_calls_for_a_second() -> None:
    contents = ml(*[504] * 28, 484, 484)
    doubtful = lot_check(HALF_LITRE, contents, lot_size=400)
    assert not doubtful.accepted
    assert "weigh 30 more, and enter all of them" in doubtful.sentence
    both = lot_check(HALF_LITRE, [*contents, *ml(*[504] * 28, 484, 484)], lot_size=400)
    assert both.accepted
    bad = lot_check(HALF_LITRE, ml(*[504] * 27, 484, 484, 484), lot_size=400)
    assert "weigh 30 more" not in bad.sentence
    assert not bad.accepted
