"""What part of a batch is of a lot: worked by hand, and laws that hold for any masses.

Outside check: a mass balance, worked with pencil below.
"""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.shares import Share, ShareError, shares_of

pytestmark = pytest.mark.any_engine

Drawn = list[tuple[int, int, int]]
LOTS = range(1, 6)


def test_a_rework_three_deep_worked_by_hand() -> None:
    """Lot 1 is suspect; the masses are grams.

    Paste 10: 200 of lot 1 and 600 of lot 2, so 200/800 = 1/4. Paste 11: lot 2 only.
    Blend 20: 300 of paste 10 and 100 of paste 11: 300/4 = 75 of 400, so 3/16. Rework
    30: 200 of the blend, 50 of lot 1 again and 150 of lot 3: 37.5 + 50 = 87.5 of 400,
    so 7/32, which is 21.875 %.
    """
    drawn = [
        *[(1, 10, 200), (2, 10, 600), (2, 11, 500)],
        *[(10, 20, 300), (11, 20, 100)],
        *[(20, 30, 200), (1, 30, 50), (3, 30, 150)],
    ]
    found = shares_of(1, drawn[::-1])
    assert {key: found[key].least for key in (10, 11, 20, 30)} == {
        10: Fraction(1, 4),
        11: 0,
        20: Fraction(3, 16),
        30: Fraction(7, 32),
    }
    assert found[30].percent == Decimal("21.875")
    assert not any(one.is_least for one in found.values())
    # of the blend itself, whatever is in it: half of the rework
    assert shares_of(20, drawn)[30] == Share(least=Fraction(1, 2))


def test_what_the_book_could_not_take_makes_it_the_least_all_the_way_down() -> None:
    drawn = [(1, 10, 0), (2, 10, 600), (10, 20, 300), (2, 20, 300), (2, 21, 0)]
    found = shares_of(1, drawn)
    assert found[10] == found[20] == Share(least=Fraction(0), is_least=True)
    assert not found[21].is_least  # another lot's
    more = shares_of(1, [*drawn, (1, 20, 600)])
    assert more[20] == Share(least=Fraction(1, 2), is_least=True)


def test_a_mass_below_nought_is_refused() -> None:
    with pytest.raises(ShareError, match="below nought"):
        shares_of(1, [(1, 10, -1)])


@st.composite
def genealogies(draw: st.DrawFn) -> Drawn:
    """Draw batches 10 to 15, each from lots and from the batches before it."""
    drawn: Drawn = []
    for batch in range(10, 16):
        sources = st.sampled_from([*LOTS, *range(10, batch)])
        masses = st.dictionaries(sources, st.integers(1, 10**7), min_size=1, max_size=5)
        drawn += [(source, batch, mass) for source, mass in draw(masses).items()]
    return drawn


@given(genealogies())
def test_the_shares_of_all_lots_make_the_whole_batch(drawn: Drawn) -> None:
    sums: dict[int, Fraction] = defaultdict(Fraction)
    for lot in LOTS:
        for batch, share in shares_of(lot, drawn).items():
            assert 0 <= share.least <= 1
            sums[batch] += share.least
    assert {sums[batch] for batch in range(10, 16)} == {Fraction(1)}


@given(genealogies(), st.randoms())
def test_the_order_of_the_draws_does_not_matter(drawn: Drawn, random: object) -> None:
    shuffled = drawn[:]
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    assert shares_of(1, shuffled) == shares_of(1, drawn)
